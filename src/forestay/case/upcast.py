"""Old bodies are brought up to today's schema on reading, one version at a time, and never rewritten.

A change of a body's schema raises the number in :data:`CURRENT` and adds a row to :data:`UPCASTERS`: kind and old
version to a pure function from the old table to the table of the next version.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from forestay.case.bodies import BODIES, Kind
from forestay.errors import InvalidInput
from forestay.text import tr

Raw = dict[str, Any]
Upcasters = Mapping[tuple[Kind, int], Callable[[Raw], Raw]]

CURRENT: dict[Kind, int] = dict.fromkeys(BODIES, 1)
"""The schema version that is written today, by kind."""

UPCASTERS: Upcasters = {}
"""Kind and version to the function that makes the next version of it."""


def upcast(kind: Kind, version: int, raw: Raw, upcasters: Upcasters = UPCASTERS) -> Raw:
    """``raw`` as the newest version that ``upcasters`` lead to; a version newer than ours is refused."""
    newest = max([CURRENT[kind], *(old + 1 for known, old in upcasters if known == kind)])
    if version > newest:
        raise InvalidInput(
            tr(
                "A fact of kind {kind} has schema version {version}, written by a newer Forestay; this one reads up to "
                "{newest}. Update it to read this case.",
                kind=kind,
                version=version,
                newest=newest,
            ),
            field="schema_version",
            value=version,
            allowed=tr("1 to {newest}", newest=newest),
        )
    for step in range(version, newest):
        raise_by_one = upcasters.get((kind, step))
        if raise_by_one is None:
            raise InvalidInput(
                tr("Schema version {version} of kind {kind} is no longer read.", version=step, kind=kind),
                field="schema_version",
                value=version,
            )
        raw = raise_by_one(raw)
    return raw
