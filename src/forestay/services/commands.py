"""What a command plans with: the practice as a settings file tells it, or as a database keeps it."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace

from forestay.plan.context import Context
from forestay.services import cases
from forestay.services.in_force import Start, combined
from forestay.services.planner import Given, as_of_today, usual_context
from forestay.services.planning import started_with
from forestay.services.reviewing import own_practice
from forestay.services.settings import in_file, settings


def given_by_file(data: bytes, name: str) -> Given:
    """Shelves and own ratios of signs of a settings file. Own figures are counted from cases and stand in none."""
    return replace(combined(in_file(data, name), Start()).given, settings="")


def given_by_store(db: str) -> Given:
    """What the pages over this database plan with: settings, shelves, and the figures of its operated cases."""
    with closing(cases.open_store(db)) as store:
        start = started_with(None, demo=False, practice=own_practice(store))
        return combined(settings(store), start).given


def context_of(given: Given) -> Context:
    """The context of a whole plan, as of today."""
    return as_of_today(usual_context(given), given)
