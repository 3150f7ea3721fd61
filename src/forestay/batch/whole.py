"""The whole plan of many given eyes: case files and exported facts, each as ``forestay plan`` would plan it.

The eyes are first put into the folder, in one file named after what they say; every worker reads its share from there. An
eye that cannot be planned says why in its row and stops no other.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from forestay import __version__
from forestay.batch.brought import put_down, taken_up
from forestay.batch.units import Progress, Runner, Unit, keep, units
from forestay.case.case_file import read_case
from forestay.errors import ForestayError, InvalidInput
from forestay.evidence import default_evidence
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.plan.model import Plan, as_dict
from forestay.text import tr

EYES = 8
"""Eyes of one unit: a whole plan takes a second or two, so a stop loses little."""
STUDY, GIVEN = "whole", "eyes"
MOST_EYES = 1_000_000


@dataclass(frozen=True, slots=True)
class Eye:
    """One eye to plan: what it is called, and the bytes of its case file or of its exported facts."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Told:
    """A plan in one row: the decision, what was chosen, the first place that is open to a lens with the power to have there;
    the plan itself as JSON, or what is wrong."""

    name: str
    decision: str | None = None
    says: str | None = None
    """The first line of the plan."""
    chosen: str | None = None
    clear: bool | None = None
    position: str | None = None
    place: str | None = None
    """The position in words."""
    power_d: float | None = None
    rechecks: int | None = None
    doubts: int | None = None
    plan: str | None = None
    error: str | None = None
    field: str | None = None


def plan_whole(
    eyes: Sequence[Eye],
    folder: Path,
    *,
    run: Runner,
    progress: Progress = lambda _a, _b: None,
    context: Context | None = None,
) -> tuple[Unit, ...]:
    """Plan each eye into Parquet files in ``folder``; the same call again goes on where it stopped.

    ``context``: the practice's shelves, own figures and day; without it, what ships.
    """
    _checked(eyes)
    wanted = _units(eyes, folder, "" if context is None else put_down(context, folder))
    _put_down(wanted[0], eyes)
    run(plan_share, wanted, progress=progress)
    return wanted


def told(wanted: Iterable[Unit]) -> list[Told]:
    """The rows of the files, in the order of the names, without the plans themselves."""
    import pyarrow.parquet as pq

    columns = [name for name in Told.__dataclass_fields__ if name != "plan"]
    return [Told(**row) for unit in wanted for row in pq.read_table(unit.file, columns=columns).to_pylist()]


def plan_share(unit: Unit) -> None:
    """One file of plans."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    context = taken_up(Path(unit.folder), json.loads(unit.parameters).get("practice", ""))
    found = [asdict(_planned(eye, context)) for eye in _taken_up(unit)]
    table = pa.Table.from_pylist(found, schema=_schema()).replace_schema_metadata({"forestay": unit.parameters})
    keep(unit, lambda path: pq.write_table(table, path, compression="zstd"))


def _schema() -> Any:
    import pyarrow as pa

    kinds = {"clear": pa.bool_(), "power_d": pa.float64(), "rechecks": pa.int32(), "doubts": pa.int32()}
    return pa.schema([(name, kinds.get(name, pa.string())) for name in Told.__dataclass_fields__])


def _planned(eye: Eye, context: Context) -> Told:
    try:
        made = make(read_case(eye.data, eye.name), context)
    except ForestayError as wrong:
        return Told(eye.name, error=wrong.message, field=wrong.field)
    return _row(eye.name, made)


def _row(name: str, made: Plan) -> Told:
    place = next((place for place in made.lens.positions if place.allowed), None)
    return Told(
        name,
        decision=made.decision.decision,
        says=made.decision.sentence,
        chosen=made.chosen.technique,
        clear=made.chosen.clear,
        position=place.position if place else None,
        place=place.label if place else None,
        power_d=place.best_power_d if place else None,
        rechecks=sum(check.level == "recheck" for check in made.checks),
        doubts=len(made.doubts),
        plan=json.dumps(as_dict(made), ensure_ascii=False, sort_keys=True, separators=(",", ":")),
    )


def _checked(eyes: Sequence[Eye]) -> None:
    """There are eyes, and each has a name of its own."""
    if not eyes or len(eyes) > MOST_EYES:
        raise InvalidInput(
            tr("There are {n} eyes to plan.", n=len(eyes)), field="cases", value=len(eyes), allowed=f"1 … {MOST_EYES}"
        )
    twice = next((name for name, n in Counter(eye.name for eye in eyes).items() if n > 1), None)
    if twice is not None:
        raise InvalidInput(
            tr("More than one eye is called {name}.", name=twice[:80]),
            field="cases",
            value=twice[:80],
            allowed=tr("a name of its own for each"),
        )


def _units(eyes: Sequence[Eye], folder: Path, practice: str) -> tuple[Unit, ...]:
    digest = hashlib.sha256()
    for eye in eyes:
        digest.update(hashlib.sha256(eye.name.encode()).digest() + hashlib.sha256(eye.data).digest())
    parameters = {
        "eyes": digest.hexdigest(),
        "engine": __version__,
        "evidence": default_evidence().digest,
        "numpy": np.__version__,
    }
    if practice:
        parameters["practice"] = practice
    return units(STUDY, chunks=-(-len(eyes) // EYES), folder=folder, parameters=parameters)


def _given(unit: Unit) -> Path:
    """The file that holds the eyes themselves."""
    return Path(unit.folder) / f"{GIVEN}-{json.loads(unit.parameters)['eyes'][:12]}.parquet"


def _put_down(unit: Unit, eyes: Sequence[Eye]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    place = _given(unit)
    if place.is_file():
        return
    place.parent.mkdir(parents=True, exist_ok=True)
    draft = place.with_suffix(".draft")
    table = pa.table({"name": [eye.name for eye in eyes], "data": [eye.data for eye in eyes]})
    pq.write_table(table, draft, compression="zstd", row_group_size=EYES)
    draft.replace(place)


def _taken_up(unit: Unit) -> list[Eye]:
    """The eyes of a unit: one group of rows of the file."""
    import pyarrow.parquet as pq

    rows = pq.ParquetFile(_given(unit)).read_row_group(unit.chunk).to_pylist()
    return [Eye(row["name"], row["data"]) for row in rows]
