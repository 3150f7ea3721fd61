"""The outcomes of all kept cases in parts, by any number of workers, so that a review of many may stop and go on.

A part is some cases as far as their facts go. What it came to stands in the folder until all parts are there; then the files are
removed, since they hold what the cases say and would outlast the erasing of one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from forestay import __version__
from forestay.batch.units import Progress, Runner, Unit, keep, units
from forestay.case.fact import Fact
from forestay.review.outcome import Outcome, outcome_of
from forestay.services.cases import open_store
from forestay.store.interface import FactStore
from forestay.store.location import as_url, default_url

CASES = 100
"""Cases of one part."""
STUDY, FORM = "outcomes", "json"
_OUTCOMES = TypeAdapter(list[Outcome])


def operated_in_parts(
    db: str | None, store: FactStore, folder: Path, *, run: Runner, progress: Progress = lambda _done, _of: None
) -> list[Outcome]:
    """The outcome of every kept case of the store at ``db`` in which a step of an operation is recorded.

    ``store`` is that store, opened; the workers open it for themselves. The same call again goes on where it stopped.
    """
    url = as_url(db) if db else default_url()
    ends = store.sequences(holding="done")
    wanted = [_part(list(ends.items())[at : at + CASES], url, folder) for at in range(0, len(ends), CASES)]
    run(partial(work_out, url), wanted, progress=progress)
    found = [outcome for part in wanted for outcome in _OUTCOMES.validate_json(part.file.read_bytes())]
    for left in folder.glob(f"{STUDY}-*.{FORM}"):  # also of parts that were made anew since
        left.unlink()
    return found


def _part(cases: Sequence[tuple[str, int]], url: str, folder: Path) -> Unit:
    """Some cases, each with its last fact: what is added to one makes its part anew."""
    what = {"cases": cases, "store": hashlib.sha256(url.encode()).hexdigest(), "engine": __version__}
    return units(STUDY, chunks=1, folder=folder, parameters=what, form=FORM)[0]


def work_out(url: str, part: Unit) -> None:
    """One part: its cases are read as far as they went when the review began."""
    given: dict[str, Any] = json.loads(part.parameters)
    store = open_store(url)
    try:
        found = [outcome_of(case, _until(store, case, last)) for case, last in given["cases"]]
    finally:
        store.close()
    told = _OUTCOMES.dump_json([outcome for outcome in found if outcome is not None])

    def write(path: Path) -> None:
        path.write_bytes(told)

    keep(part, write)


def _until(store: FactStore, case: str, last: int) -> list[Fact]:
    return [fact for fact in store.facts(case) if (fact.header.server_sequence or 0) <= last]
