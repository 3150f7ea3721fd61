"""What a search for support is asked, what it asks of a mechanical model, and what it answers: records only."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from forestay.frame import mirror_by_hour, mirror_hour
from forestay.mechanics.open_ring_model import RingState
from forestay.mechanics.tie import Knot
from forestay.mechanics.zonule import on_grid

Kind = Literal["none", "hooks", "ring", "ring-and-hooks", "segment", "sutured-ring"]
KINDS: tuple[Kind, ...] = ("none", "hooks", "ring", "ring-and-hooks", "segment", "sutured-ring")
"""In the order of how much is put into the eye and left there."""
RINGS: tuple[Kind, ...] = ("ring", "ring-and-hooks", "sutured-ring")
RingTiming = Literal["now", "later", "not"]
GAIN_ROUNDING = 6
"""Decimal places to which two gains count as equal: what is first does not hang on how a solver rounds."""


def gain_rank(gain: float) -> float:
    """The place of a gain among others: the most first, alike in the order given (what is left in the eye, least first)."""
    return -round(gain, GAIN_ROUNDING)


@dataclass(frozen=True)
class SupportConstants:
    """Which hours count as weak, and how hooks are spread, from the evidence."""

    PREFIX: ClassVar[str] = "support"
    weak_share: float
    """Share of healthy support below which an hour belongs to a gap."""
    most_hooks: float
    left_hooks: float
    """Hooks tried across the gap once the nucleus is out."""
    hook_spacing_hours: float
    """Closest that two capsule hooks stand."""


@dataclass(frozen=True)
class Support:
    """One kind of support with its places. ``hooks``, ``segments``: clock hours; ``fixed_at``: where a ring is sutured;
    ``gap_clock``: where the ends of a ring lie."""

    kind: Kind
    hooks: tuple[float, ...] = ()
    segments: tuple[float, ...] = ()
    fixed_at: float | None = None
    gap_clock: float | None = None

    @property
    def ring(self) -> bool:
        """Whether a ring is part of it."""
        return self.kind in RINGS

    def mirrored(self) -> Support:
        """The same in the other eye."""
        return replace(
            self,
            hooks=_other(self.hooks),
            segments=_other(self.segments),
            fixed_at=_mirrored(self.fixed_at),
            gap_clock=_mirrored(self.gap_clock),
        )

    @property
    def bridged(self) -> bool:
        """Whether its hooks bridge the time until something goes in that stays."""
        return bool(self.hooks) and self.kind != "hooks"

    def hooks_alone(self) -> Support:
        """Its hooks, before what stays goes in."""
        return Support("hooks", hooks=self.hooks)

    def left(self) -> Support:
        """What stays in the eye: the same without its hooks."""
        if self.kind == "hooks":
            return Support("none")
        return replace(self, kind="ring" if self.kind == "ring-and-hooks" else self.kind, hooks=())

    def on_grid(self) -> Support:
        """The same with clock positions whose mirror images are exact."""
        return replace(
            self,
            hooks=tuple(sorted(_exact(clock) for clock in self.hooks)),
            segments=tuple(sorted(_exact(clock) for clock in self.segments)),
            fixed_at=None if self.fixed_at is None else _exact(self.fixed_at),
            gap_clock=None if self.gap_clock is None else _exact(self.gap_clock),
        )


def _exact(clock: float) -> float:
    return mirror_hour(mirror_hour(on_grid(clock)))


def _mirrored(clock: float | None) -> float | None:
    return None if clock is None else mirror_hour(clock)


def _other(clocks: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(sorted(mirror_hour(clock) for clock in clocks))


@dataclass(frozen=True)
class Outcome:
    """What a mechanical model says of one support at one step.

    ``held``; ``displacement_mm`` of the bag at rest with that support; ``peak_load``, largest load of a clock hour
    during the step, healthy resting load = 1; ``reserve``, share of what the most loaded fibre bears that is left
    during the step (below 0: asked for more). Of a bag that is not held the numbers are not used. ``ring``: what became
    of the ring that is in, the worst during the step; None where there is none, or the model does not ask. ``knot`` of
    its sutures, None without any.
    """

    held: bool
    displacement_mm: float
    peak_load: float
    reserve: float
    ring: RingState | None = None
    knot: Knot | None = None


@dataclass(frozen=True)
class Step:
    """One step of the operation: its name, whether the bag is ``empty`` by then, and whether the capsulorhexis is there
    (``open``): hooks and rings are held by it, so that nothing can be put in before. ``left``: not a step, but what is
    left after the last: hooks are out."""

    key: str
    empty: bool
    open: bool = True
    left: bool = False


Solve = Callable[[Support, str], Outcome]
"""Outcome of a support that is in place at the step of that name."""


@dataclass(frozen=True)
class Barred:
    """Clock hours at which no hook can be put in: nearer to ``clock`` than ``half_hours`` [hours]; ``reason``: what lies
    there."""

    clock: float
    half_hours: float
    reason: str

    def mirrored(self) -> Barred:
        """The same in the other eye."""
        return replace(self, clock=mirror_hour(self.clock))


@dataclass(frozen=True)
class Question:
    """One eye and what is possible. ``zonule``: 12 shares of healthy support by clock hour (12, 1 .. 11); ``steps`` in
    their order; ``tunnel_clock`` [hours]; ``whole_nucleus_by_hand``: a whole nucleus is delivered by hand;
    ``relaxing_cuts``: the capsulorhexis has them; ``kinds`` that can be had; ``ring_gap_clock`` [hours] where the ends of
    a ring are laid, None to leave it to the search; ``planned``: what is planned, which is ranked too, wherever it stands;
    ``barred``: where no hook can stand, from which one is moved by at most ``hook_shift_hours`` [hours]."""

    zonule: tuple[float, ...]
    steps: tuple[Step, ...]
    tunnel_clock: float
    whole_nucleus_by_hand: bool
    relaxing_cuts: bool
    kinds: tuple[Kind, ...] = KINDS
    ring_gap_clock: float | None = None
    planned: Support | None = None
    barred: tuple[Barred, ...] = ()
    hook_shift_hours: float = 0.0

    def on_grid(self) -> Question:
        """The same with clock positions whose mirror images are exact."""
        gap = self.ring_gap_clock
        return replace(
            self,
            tunnel_clock=on_grid(self.tunnel_clock),
            ring_gap_clock=None if gap is None else _exact(gap),
            planned=None if self.planned is None else self.planned.on_grid(),
            barred=_ordered(replace(one, clock=_exact(one.clock)) for one in self.barred),
        )

    def mirrored(self) -> Question:
        """The same eye, mirrored."""
        return replace(
            self,
            zonule=mirror_by_hour(self.zonule),
            tunnel_clock=mirror_hour(on_grid(self.tunnel_clock)),
            ring_gap_clock=_mirrored(self.ring_gap_clock),
            planned=None if self.planned is None else self.planned.mirrored(),
            barred=_ordered(one.mirrored() for one in self.barred),
        )

    def order(self) -> tuple[object, ...]:
        """What tells the question from its mirror image."""
        planned = self.planned or Support("none")
        places = (planned.hooks, planned.segments, planned.gap_clock or 0.0)
        barred = tuple((one.clock, one.half_hours, one.reason) for one in self.barred)
        return (self.zonule, self.tunnel_clock, self.ring_gap_clock or 0.0, places, barred)


def _ordered(barred: Iterable[Barred]) -> tuple[Barred, ...]:
    """In one order, so that mirror images are told apart by what they are."""
    return tuple(sorted(barred, key=lambda one: (one.clock, one.half_hours, one.reason)))


@dataclass(frozen=True)
class Row:
    """One support in its best moment.

    ``before_step``: it is put in before that step, its ring (or what is sutured beside hooks) before ``ring_before_step``; ``by_step``: what the model says of every step, without it before
    and with it from then on; ``displacement_mm`` as the bag is left and ``peak_load`` at the last step, ``reserve`` least of the steps
    with the capsule open (None where the bag is not held throughout, as ``held`` says); ``best``: nothing else is better in one of the
    three and as good in the others; ``reasons`` in words; ``worst_step``: where the reserve is least; ``planned``: it is
    what is planned; ``blocked``: its hooks that stand where none can, with what lies there.
    """

    support: Support
    before_step: str | None
    ring_before_step: str | None
    ring_timing: RingTiming
    held: bool
    displacement_mm: float | None
    reserve: float | None
    peak_load: float | None
    by_step: tuple[Outcome, ...]
    best: bool
    reasons: tuple[str, ...]
    worst_step: str | None = None
    planned: bool = False
    blocked: tuple[tuple[float, str], ...] = ()

    def mirrored(self) -> Row:
        """The same in the other eye."""
        blocked = tuple(sorted((mirror_hour(clock), what) for clock, what in self.blocked))
        return replace(self, support=self.support.mirrored(), blocked=blocked)


@dataclass(frozen=True)
class Unplaced:
    """A number of hooks that would serve and finds no place, with what is in the way."""

    hooks: int
    in_the_way: tuple[str, ...]


@dataclass(frozen=True)
class Found:
    """Supports in order, best first; kinds that are out of question with the reason; how often the model was asked;
    numbers of hooks that find no place."""

    rows: tuple[Row, ...]
    excluded: tuple[tuple[Kind, str], ...]
    asked: int
    unplaced: tuple[Unplaced, ...] = ()

    @property
    def pareto(self) -> tuple[Row, ...]:
        """Rows of which none is worse than another in all three respects."""
        return tuple(row for row in self.rows if row.best)

    def mirrored(self) -> Found:
        """The same in the other eye."""
        return replace(self, rows=tuple(row.mirrored() for row in self.rows))
