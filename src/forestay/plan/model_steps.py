"""Steps, what to watch for at each, ladders, conflicts and stops, as values."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Shift:
    """An estimate that a finding would move: before and after."""

    label: str
    before: float
    after: float
    unit: str
    says: str


@dataclass(frozen=True)
class Remedy:
    """A measure tried under a finding: what the margin in question gains by it. ``here``: whether it can be had."""

    do: str
    gain: float
    unit: str
    here: bool | None
    says: str


@dataclass(frozen=True)
class Cue:
    """What may be seen at a step, what it means and what to do then.

    ``means`` ends with how the estimate would change, ``then`` with what was tried under the finding, best first;
    ``plain`` holds both without what was worked out.
    """

    see: str
    means: str
    then: str
    plain: tuple[str, str] = ("", "")
    finding: str | None = None
    """Key of the finding, where seeing this is one."""
    margin: str | None = None
    """The margin that seeing this speaks of, where measures are ranked by it."""
    shifts: tuple[Shift, ...] = ()
    judged_by: str | None = None
    """The margin by which the remedies are ranked, as the finding would leave it."""
    remedies: tuple[Remedy, ...] = ()


@dataclass(frozen=True)
class Step:
    """One step of the operation, in order."""

    key: str
    name: str
    do: str
    kit: tuple[str, ...]
    who: str
    cues: tuple[Cue, ...]
    sources: tuple[str, ...] = ()
    take_over: str | None = None
    """Where a trainee does this step: what ends the trainee's turn, agreed beforehand. None otherwise."""


@dataclass(frozen=True)
class Rung:
    """One rung of a ladder: what to do, with what, and whether this theatre has it."""

    do: str
    kit: tuple[str, ...]
    here: bool | None
    """False: this theatre says that it has none of what the rung needs; None: not known, or nothing special needed."""
    needs: str | None = None
    """What must be here, in words; None where every theatre can do it."""


@dataclass(frozen=True)
class Fallback:
    """If this, then that, in this eye: a ladder, its rungs in the order in which they are tried."""

    event: str
    signs: str
    do: tuple[str, ...]
    """The rungs in words, with a note where this theatre lacks what one needs."""
    sources: tuple[str, ...] = ()
    key: str = ""
    rungs: tuple[Rung, ...] = ()
    leads_to: tuple[str, ...] = ()
    """Keys of the troubles that may come next."""


@dataclass(frozen=True)
class Conflict:
    """Two things that exclude one another in this eye: which, how the plan settles it, and why."""

    key: str
    between: tuple[str, ...]
    settled: str
    why: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Stop:
    """What must not be done in this eye, and why."""

    key: str
    must_not: str
    why: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class State:
    """What has happened in the operation and moves the plan: its key in the rules, in words, and whose rule it is."""

    key: str
    says: str
    sources: tuple[str, ...]
