"""A theatre day from case files or kept cases: reads, plans each eye as of the day, and puts them in order."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

from forestay.case.case_file import load, read_case
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.eye.situation import Situation
from forestay.plan.context import Context
from forestay.plan.day import DayEntry, DayHours, DayList, day_list
from forestay.plan.device_shelf import DeviceShelf, read_shelf
from forestay.plan.make import make
from forestay.services.cases import kept_case, open_store
from forestay.services.planner import Make
from forestay.services.settings import settings
from forestay.text import tr

SHELF_FILE = "devices.toml"
"""The practice's own shelf, in the folder of its data."""


def own_shelf() -> DeviceShelf | None:
    """The practice's shelf; None where it keeps none, which is "not known"."""
    home = os.environ.get("XDG_DATA_HOME")
    file = (Path(home) if home else Path.home() / ".local" / "share") / "forestay" / SHELF_FILE
    return read_shelf(file.read_bytes(), SHELF_FILE) if file.is_file() else None


def shelf_here(names: Sequence[str], db: str | None) -> DeviceShelf | None:
    """The shelf of the settings that are kept with the cases, else of the data folder; of case files, of the folder."""
    if all(Path(name).is_file() for name in names):
        return own_shelf()
    with closing(open_store(db)) as store:
        return settings(store).devices or own_shelf()


def situations(names: Sequence[str], db: str | None) -> list[tuple[str, Situation, bool]]:
    """Each name as a case file where there is one, else as a kept case; with whether it is invented."""
    found, store = [], None
    for name in names:
        path = Path(name)
        if path.is_file():
            data, called = load(path)
            found.append((path.stem, read_case(data, called), b"Invented." in data[:200]))
            continue
        store = store or open_store(db)
        kept = kept_case(store, name)
        found.append((name, kept.situation, kept.invented))
    if store is not None:
        store.close()
    called_so = [n for n, _, _ in found]
    twice = next((n for n in called_so if called_so.count(n) > 1), None)
    if twice is not None:
        raise InvalidInput(tr("The case {name} stands twice on the list.", name=twice), field="cases", value=twice)
    return found


def planner_for(shelf: DeviceShelf | None, on: date | None) -> Make:
    """Plans an eye against the shelf of that day."""
    context = replace(Context.default(), devices=shelf, today=on)
    return lambda situation: make(situation, context)


def day_of(
    eyes: Sequence[tuple[str, Situation]],
    *,
    hours: DayHours,
    shelf: DeviceShelf | None,
    on: date | None,
    plan: Make | None = None,
) -> DayList:
    """The list of the day; every eye is planned against the shelf of that day, by ``plan`` where one keeps them."""
    planned = plan or planner_for(shelf, on)
    entries = [DayEntry(name, situation.case, planned(situation)) for name, situation in eyes]
    return day_list(entries, hours=hours, shelf=shelf, on=on, use=default_evidence().reader())


def demo_shelf() -> DeviceShelf:
    """The invented shelf, for invented cases only."""
    from forestay.demo import devices_bytes

    return read_shelf(devices_bytes(), SHELF_FILE)
