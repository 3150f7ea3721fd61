"""What an open ring in a bag is, and what its answer is: records without any calculation of their own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np

from forestay.frame import mirror_hour
from forestay.mechanics.bag_model import BagState
from forestay.mechanics.tie import Knot
from forestay.mechanics.zonule import HOUR_COUNT, Floats, on_grid

RingState = Literal["held", "slid", "escaped", "collapsed", "unsupported"]


@dataclass(frozen=True)
class OpenRingConstants:
    """``friction`` coefficient of ring on capsule, between ``friction_low`` and ``friction_high``;
    ``suture_stiffness_mn_per_mm`` [mN/mm] of a scleral suture with its anchor; ``slid_deg`` [degrees]: a ring that turned
    by more than this did not stay where it was put; ``outside_mm`` [mm] beyond the wall: a ring there has escaped; ``wall_bending_mn_mm2``
    [mN mm2] of a wall that would wrinkle without end;
    ``segment_free_diameter_mm`` [mm] and ``segment_spring_mn_per_mm`` [mN/mm] of the ring that a segment is cut from;
    ``feed_diameter_mm`` [mm]: opening from whose edge a ring is fed in; ``feed_stiffness_mn_per_mm`` [mN/mm] of the hand
    or injector that feeds it."""

    PREFIX: ClassVar[str] = "open_ring"
    friction: float
    friction_low: float
    friction_high: float
    suture_stiffness_mn_per_mm: float
    slid_deg: float
    outside_mm: float
    wall_bending_mn_mm2: float
    segment_free_diameter_mm: float
    segment_spring_mn_per_mm: float
    feed_diameter_mm: float
    feed_stiffness_mn_per_mm: float


@dataclass(frozen=True)
class Piece:
    """An open ring or part of one. ``length_mm`` [mm] along it, eyelets included; ``free_diameter_mm`` [mm];
    ``spring_mn_per_mm`` [mN/mm] of the whole ring; ``middle_clock`` [clock hours] where its middle is laid;
    ``sutured_clocks`` [clock hours] where it is sutured to the sclera; ``drawn_mm`` [mm] how much shorter each suture is
    than just tight with the bag in the middle."""

    length_mm: float
    free_diameter_mm: float
    spring_mn_per_mm: float
    middle_clock: float
    sutured_clocks: tuple[float, ...] = ()
    drawn_mm: float = 0.0

    def mirrored(self) -> Piece:
        """The same piece in the other eye."""
        clocks = tuple(sorted(mirror_hour(clock) for clock in self.sutured_clocks))
        return replace(self, middle_clock=mirror_hour(self.middle_clock), sutured_clocks=clocks)

    def rounded(self) -> Piece:
        """The same with clock positions whose mirror images are exact."""
        clocks = tuple(sorted(mirror_hour(mirror_hour(on_grid(clock))) for clock in self.sutured_clocks))
        middle = mirror_hour(mirror_hour(on_grid(self.middle_clock)))
        return replace(self, middle_clock=middle, sutured_clocks=clocks)

    def key(self) -> tuple[object, ...]:
        """What tells it from its mirror image."""
        size = (self.length_mm, self.free_diameter_mm, self.spring_mn_per_mm)
        return (self.middle_clock, self.sutured_clocks, *size, self.drawn_mm)


def whole_ring(
    *,
    free_diameter_mm: float,
    closed_diameter_mm: float,
    spring_mn_per_mm: float,
    gap_clock: float,
    sutured_clocks: tuple[float, ...] = (),
) -> Piece:
    """An open ring: as long as the circle on which its ends meet (``closed_diameter_mm``), its gap at ``gap_clock``.

    >>> ring = whole_ring(free_diameter_mm=13.0, closed_diameter_mm=11.0, spring_mn_per_mm=0.8, gap_clock=12.0)
    >>> round(ring.length_mm, 2), ring.middle_clock
    (34.56, 6.0)
    """
    opposite = (gap_clock + HOUR_COUNT * 0.5) % HOUR_COUNT or float(HOUR_COUNT)
    return Piece(float(np.pi) * closed_diameter_mm, free_diameter_mm, spring_mn_per_mm, opposite, sutured_clocks)


def segment(*, arc_deg: float, clock: float, free_diameter_mm: float, spring_mn_per_mm: float) -> Piece:
    """A piece of ring of ``arc_deg`` degrees of its own circle, sutured in its middle at ``clock``."""
    length = float(np.deg2rad(arc_deg)) * free_diameter_mm * 0.5
    return Piece(length, free_diameter_mm, spring_mn_per_mm, clock, (clock,))


@dataclass(frozen=True)
class PieceState:
    """What one piece does: ``outline_mm`` (2, P), clockwise; ``push_mn`` (P,) on the wall and ``gap_mm`` (P,) to it;
    ``end_push_mn`` of its first and last end; ``touch_deg`` from each end to where the arc first touches again, None
    where it does not; ``turned_deg`` clockwise from where it was laid; ``opening_deg`` between its ends, negative where
    they overlap; ``suture_mn`` pull of each suture."""

    outline_mm: Floats
    push_mn: Floats
    gap_mm: Floats
    end_push_mn: tuple[float, float]
    touch_deg: tuple[float | None, float | None]
    turned_deg: float
    opening_deg: float
    suture_mn: tuple[float, ...]

    @property
    def stand_off_mm(self) -> float:
        """Widest distance of the piece from the wall [mm]."""
        return float(max(self.gap_mm.max(), 0.0))

    def mirrored(self) -> PieceState:
        """The same in the other eye (sutures in the order of that eye's clock hours)."""
        outline = self.outline_mm[:, ::-1].copy()
        outline[0] = -outline[0]
        return PieceState(
            outline,
            self.push_mn[::-1].copy(),
            self.gap_mm[::-1].copy(),
            self.end_push_mn[::-1],
            self.touch_deg[::-1],
            -self.turned_deg,
            self.opening_deg,
            self.suture_mn,
        )


@dataclass(frozen=True)
class OpenRingState:
    """Rest of a bag with its pieces of ring. ``state``: ``held``; ``slid``: at rest, but a ring turned out of its place;
    ``escaped``: a ring left the wall or finds no rest on it; ``collapsed``: the bag folded or came off;
    ``unsupported``: nothing holds it. ``bag`` as without a ring; ``pieces`` in the order given; ``peak_radius_mm`` [mm]
    from the bag's centre to its furthest wall; ``balance_mn`` what is left of the sum of all forces on the bag [mN];
    ``smoothed``: found only with a wall that bends less easily, which moves the bag by some percent; ``knot`` of its
    sutures where they were tied until the bag was centred."""

    state: RingState
    bag: BagState
    pieces: tuple[PieceState, ...]
    peak_radius_mm: float
    balance_mn: float
    energy_mn_mm: float
    smoothed: bool = False
    knot: Knot | None = None

    def mirrored(self) -> OpenRingState:
        """The same in the other eye."""
        return replace(self, bag=self.bag.mirrored(), pieces=tuple(piece.mirrored() for piece in self.pieces))


@dataclass(frozen=True)
class Peak:
    """What a pull asks: ``state``, stretch of the most stretched fibre [mm], load of the most loaded clock hour [mN]."""

    state: RingState
    stretch_mm: float
    load_mn: float
