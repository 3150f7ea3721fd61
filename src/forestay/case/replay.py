"""The case fact by fact: the thread that a page shows, and the situation after each fact."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from forestay.case.bodies import Body, Decided, Kind, Withdrawn
from forestay.case.fact import Fact
from forestay.case.fold import Entry, entries, fold, in_fold_order
from forestay.case.words import say
from forestay.errors import MissingInput
from forestay.eye.situation import Situation
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class ThreadEntry:
    """One line of the thread. ``words`` do not repeat "decided"; a page sets it before them where ``decided``.

    ``withdrawn`` is true where the fact was taken back or replaced; ``why`` says so. ``pending`` is true while the
    fact waits on its own device.
    """

    time: datetime
    words: str
    decided: bool
    fact_id: UUID
    withdrawn: bool
    kind: Kind
    why: str | None = None
    pending: bool = False


def thread(facts: Iterable[Fact]) -> list[ThreadEntry]:
    """All facts in plain words, by the clock as a reader expects it; facts of one time in fold order."""
    told = entries(facts)
    bodies = {entry.fact.header.id: entry.body for entry in told}
    lines = [_line(entry, bodies) for entry in told]
    return sorted(lines, key=lambda line: line.time)


def _line(entry: Entry, bodies: dict[UUID, Body]) -> ThreadEntry:
    header, body = entry.fact.header, entry.body
    words = say(body)
    if isinstance(body, Withdrawn):
        target = bodies.get(body.fact)
        what = say(target) if target is not None else tr("an unknown fact")
        words = tr("taken back: {what}; {why}", what=what, why=body.why)
    return ThreadEntry(
        time=header.happened_at,
        words=words,
        decided=isinstance(body, Decided),
        fact_id=header.id,
        withdrawn=not entry.stands,
        kind=header.kind,
        why=_why_undone(entry, bodies),
        pending=header.server_sequence is None,
    )


def _why_undone(entry: Entry, bodies: dict[UUID, Body]) -> str | None:
    if entry.undone_by is None:
        return None
    body = bodies[entry.undone_by]
    if isinstance(body, Withdrawn) and body.fact == entry.fact.header.id:
        return tr("taken back: {why}", why=body.why)
    return tr("corrected: {words}", words=say(body))


def situations(facts: Iterable[Fact]) -> Iterator[tuple[Fact, Situation | None]]:
    """Each fact in fold order with the situation after it; None while age or side are not known yet."""
    ordered = in_fold_order(facts)
    for count, fact in enumerate(ordered, start=1):
        try:
            yield fact, fold(ordered[:count])
        except MissingInput:
            yield fact, None
