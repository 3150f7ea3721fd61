"""Cases as a table: one line each, headed by the names of the fields, as the case stands."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

from forestay.case.fact import Fact
from forestay.case.fields import PATHS
from forestay.case.fold import entries, fold
from forestay.errors import ForestayError
from forestay.store.interface import FactStore

SEEN_COLUMNS = (
    "day",
    "acuity_logmar",
    "acuity",
    "acuity_type",
    "refraction_d",
    "pressure_mmhg",
    "endothelial_count_per_mm2",
)


def write_table(cases: Iterable[tuple[str, Sequence[Fact]]]) -> bytes:
    """One line a case: every field as it stands, what happened, what was last seen."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["case", *PATHS, "technique_decided", "steps", "events", *(f"seen.{name}" for name in SEEN_COLUMNS)]
    )
    for case, facts in cases:
        writer.writerow([_cell(value) for value in _line(case, facts)])
    return out.getvalue().encode()


def export_table(store: FactStore, case_id: str) -> bytes:
    """One case as a table of one line, headed by the names of its fields."""
    return write_table([(case_id, store.facts(case_id))])


def _line(case: str, facts: Sequence[Fact]) -> list[Any]:
    try:
        situation = fold(facts)
    except ForestayError:
        return [case]
    told = situation.case.model_dump(mode="json")
    fields = [told[path.partition(".")[0]].get(path.partition(".")[2]) for path in PATHS]
    seen: dict[str, Any] = {}
    for entry in entries(facts):
        if entry.stands and entry.body.KIND == "seen":
            seen |= entry.body.model_dump(mode="json", exclude_none=True)
    progress = situation.progress
    last = [seen.get(name) for name in SEEN_COLUMNS]
    return [case, *fields, situation.decisions.technique, list(progress.done), list(progress.happened), *last]


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, list):
        return "|".join(str(_cell(one)) for one in value)
    if isinstance(value, dict):
        return json.dumps(value, sort_keys=True)
    text = str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(("=", "+", "-", "@")) else value
