"""The order of a theatre list: hardest early, as far as anaesthetist, latex, infection and shared kit allow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from forestay.calc.duration import Minutes
from forestay.text import tr

NEEDS_ANAESTHETIST = ("general",)


@dataclass(frozen=True, slots=True)
class Slot:
    """One operation waiting for its place."""

    name: str
    minutes: Minutes
    difficulty: float
    anaesthetic: str | None = None
    latex_allergy: bool = False
    infected: bool = False
    things: tuple[str, ...] = ()
    """Reusable things that are in use during the operation."""

    @property
    def needs_anaesthetist(self) -> bool:
        """Whether it cannot start without one."""
        return self.anaesthetic in NEEDS_ANAESTHETIST


@dataclass(frozen=True, slots=True)
class Reusable:
    """How many of a thing there are, and how long until one comes back clean [minutes]."""

    count: int
    ready_again: float


@dataclass
class Placed:
    """An operation with its place: start [minutes after the first cut of the day] and why it stands there."""

    slot: Slot
    start: float
    why: str
    waits: float = 0.0
    waits_for: str = ""


@dataclass
class _State:
    now: float = 0.0
    used: dict[str, list[float]] = field(default_factory=dict)
    """For each reusable thing, when those in use come back."""


def arrange(
    slots: Sequence[Slot],
    *,
    between: float,
    reusable: dict[str, Reusable],
    anaesthetist: tuple[float, float] | None,
) -> list[Placed]:
    """Places all operations, one after another, at their median times.

    Of those that can start now, the hardest comes first; latex allergy before all (no latex dust in the air yet),
    infection after all. What waits for a thing or for the anaesthetist lets the next hardest pass; only where nothing
    else is left does theatre wait.
    """
    left, placed, state = list(slots), [], _State()
    while left:
        least = min(_wait(s, state, reusable, anaesthetist)[0] for s in left)
        ready = [s for s in left if _wait(s, state, reusable, anaesthetist)[0] <= least]
        passed = [s for s in left if s not in ready]
        chosen = min(ready, key=_rank)
        waits, waits_for = _wait(chosen, state, reusable, anaesthetist)
        start = state.now + waits
        placed.append(Placed(chosen, start, _why(chosen, ready, passed), waits, waits_for))
        end = start + chosen.minutes.quantile(0)
        for thing in chosen.things:
            if thing in reusable:
                state.used.setdefault(thing, []).append(end + reusable[thing].ready_again)
        state.now = end + between
        left.remove(chosen)
    return placed


def _rank(slot: Slot) -> tuple[bool, bool, float, float, str]:
    return (slot.infected, not slot.latex_allergy, -slot.difficulty, -slot.minutes.mean, slot.name)


def _wait(
    slot: Slot, state: _State, reusable: dict[str, Reusable], anaesthetist: tuple[float, float] | None
) -> tuple[float, str]:
    """How long it would have to wait if it came next, and for what."""
    wait, what = 0.0, ""
    if slot.needs_anaesthetist and anaesthetist is not None and state.now < anaesthetist[0]:
        wait, what = anaesthetist[0] - state.now, tr("the anaesthetist")
    for thing in slot.things:
        there = reusable.get(thing)
        if there is None or there.count == 0:
            continue
        busy = sorted(t for t in state.used.get(thing, []) if t > state.now)
        if len(busy) >= there.count:
            free = busy[len(busy) - there.count] - state.now
            if free > wait:
                wait, what = free, tr(thing.replace("-", " "))
    return wait, what


def _why(slot: Slot, ready: Sequence[Slot], passed: Sequence[Slot]) -> str:
    if slot.infected:
        return tr("last: infection")
    if slot.latex_allergy:
        return tr("first: latex allergy")
    harder = [s for s in passed if _rank(s) < _rank(slot)]
    if harder:
        return tr("goes ahead of {names}, which would have to wait", names=", ".join(s.name for s in harder))
    if len(ready) == 1 and not passed:
        return tr("the last one left")
    return tr("the hardest of those left")
