"""What a bag is, and what its answer is: records without any calculation of their own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np

from forestay.frame import mirror_by_hour, mirror_hour
from forestay.mechanics.fibres import Sheet
from forestay.mechanics.ring_loop import Ring
from forestay.mechanics.zonule import Floats, Hold, ZonuleParameters, direction, on_grid

Contents = Literal["empty", "lens"]
State = Literal["held", "collapsed", "unsupported", "overloaded"]


@dataclass(frozen=True)
class BagConstants:
    """``hoop_stiffness_mn`` EA of the equator [mN]; ``toe_strain`` over which its tension builds up;
    ``slack_resistance``, share of EA left when slack; ``load_spread_hours`` [hours] of equator over which an instrument
    pulls; ``collapse_area_share``: a bag whose equator encloses less than this share of its area has collapsed."""

    PREFIX: ClassVar[str] = "bag"
    hoop_stiffness_mn: float
    toe_strain: float
    slack_resistance: float
    load_spread_hours: float
    collapse_area_share: float


@dataclass(frozen=True)
class RimConstants:
    """``margin_stiffness_mn`` EA of the margin of the capsulorhexis [mN]; ``flap_stiffness_mn_per_mm`` of the capsule
    between it and the equator [mN per mm of width and strain]; ``diagonal_share`` of that in the flap's diagonals;
    ``tie_share`` of it with which slack capsule still draws the margin back to its place."""

    PREFIX: ClassVar[str] = "rim"
    margin_stiffness_mn: float
    flap_stiffness_mn_per_mm: float
    diagonal_share: float
    tie_share: float


@dataclass(frozen=True)
class Rim:
    """Margin of a round, centred capsulorhexis of radius ``radius_mm`` [mm], and the stuff it is made of."""

    radius_mm: float
    constants: RimConstants


@dataclass(frozen=True)
class Load:
    """What the surgeon does to the equator.

    ``radial``: a pull along the clock hour ``clock``, towards the centre (``inward``) or away from it;
    ``tangential``: a pull along the rim at ``clock``; ``torque``: the same force shared evenly round the whole rim, so
    that it only turns (``clock`` is without effect). ``force_mn`` [mN]; ``clockwise`` as the examiner sees the eye;
    ``at``: a pull at the ``equator``, or at the margin of the capsulorhexis (``rim``) of an empty bag that has one.
    """

    kind: Literal["radial", "tangential", "torque"]
    clock: float
    force_mn: float
    inward: bool = True
    clockwise: bool = True
    at: Literal["equator", "rim"] = "equator"

    def pull_mn(self) -> tuple[float, float]:
        """Force of a radial or tangential load [mN], to the examiner's right and up."""
        x, y = direction(self.clock)
        if self.kind == "radial":
            signed = -self.force_mn if self.inward else self.force_mn
            return signed * x, signed * y
        signed = self.force_mn if self.clockwise else -self.force_mn
        return signed * y, -signed * x

    def mirrored(self) -> Load:
        """The same load in the other eye."""
        return replace(self, clock=mirror_hour(self.clock), clockwise=not self.clockwise)

    @property
    def turns(self) -> bool:
        """Whether it turns the bag: only a turning load can be more than a bag bears at all."""
        return self.kind != "radial" and self.force_mn > 0

    def rounded(self) -> Load:
        """The same with a clock position whose mirror image is exact."""
        return replace(self, clock=on_grid(self.clock))

    def key(self) -> tuple[float, bool]:
        """What tells it from its mirror image."""
        if self.kind == "torque":
            return 0.0, self.clockwise
        return self.clock, self.kind == "tangential" and self.clockwise


def by_clock(holds: tuple[Hold, ...]) -> tuple[Hold, ...]:
    """Instruments in the order of their clock hours, as :class:`BagState` lists their pulls."""
    return tuple(sorted(holds, key=_hold_key))


def _hold_key(hold: Hold) -> tuple[float, float, float, float, str]:
    return (on_grid(hold.clock), hold.stiffness_mn_per_mm, hold.overpull_mm, hold.arc_deg, hold.at)


@dataclass(frozen=True)
class Bag:
    """One bag: ``support`` (12 shares by clock hour), its ``springs``, what is in it, what holds and pulls it.

    ``rim``: the margin of the capsulorhexis, with which an empty bag is worked out as two loops with the flap between;
    ``sheets`` of fibres (none: all of them at the equator); ``bed_mn_per_mm`` [mN/mm]: support by the vitreous, a soft
    bed that draws the bag back to its place, both ways; ``equator_bending_mn_mm2`` [mN mm2]: bending stiffness of the
    empty bag's own equator (a capsule of 7 um has about 1e-4, which changes nothing).
    """

    support: tuple[float, ...]
    springs: ZonuleParameters
    contents: Contents
    ring: Ring | None = None
    holds: tuple[Hold, ...] = ()
    load: Load | None = None
    rim: Rim | None = None
    sheets: tuple[Sheet, ...] = ()
    bed_mn_per_mm: float = 0.0
    equator_bending_mn_mm2: float = 0.0

    def mirrored(self) -> Bag:
        """The same bag in the other eye."""
        ring, load = self.ring, self.load
        if ring is not None and ring.gap_clock is not None:
            ring = replace(ring, gap_clock=mirror_hour(ring.gap_clock))
        load = None if load is None else load.mirrored()
        holds = by_clock(tuple(replace(h, clock=mirror_hour(h.clock)) for h in self.holds))
        return replace(self, support=mirror_by_hour(self.support), ring=ring, holds=holds, load=load)

    def load_on_disc(self) -> tuple[float, float, float]:
        """Its load as force to the right and up [mN] and turning moment [mN mm] of a rigid bag."""
        load = self.load
        if load is None:
            return 0.0, 0.0, 0.0
        arm = float(self.springs.bag_radius_mm) if load.kind in ("tangential", "torque") else 0.0
        torque = (-1 if load.clockwise else 1) * load.force_mn * arm
        return (0.0, 0.0, torque) if load.kind == "torque" else (*load.pull_mn(), torque)

    def rounded(self) -> Bag:
        """The same with clock positions rounded so that mirroring is exact (by less than 1e-7 hours)."""
        ring, load = self.ring, self.load
        if ring is not None and ring.gap_clock is not None:
            ring = replace(ring, gap_clock=on_grid(ring.gap_clock))
        load = None if load is None else load.rounded()
        holds = by_clock(tuple(replace(h, clock=on_grid(h.clock)) for h in self.holds))
        return replace(self, ring=ring, load=load, holds=holds)

    def key(self) -> tuple[object, ...]:
        """What tells a bag from its mirror image: equal for both when it is its own."""
        gap = (self.ring.gap_clock or 0.0) if self.ring else 0.0
        pull = (0.0, False) if self.load is None else self.load.key()
        holds = tuple(_hold_key(h) for h in self.holds)
        return (self.support, holds, gap, pull)


@dataclass(frozen=True)
class BagState:
    """The answer for one bag. By clock hour: 12, 1 .. 11.

    ``state``: ``held``; ``collapsed``: an empty bag that came off, folded, or found no rest; ``unsupported``: nothing
    holds the lens, or no zonule and no instrument at all; ``overloaded``: held when left alone, but under this turn or
    pull along the rim there is no rest, since it is more than the zonule bears (numbers are then those of the last step
    and mean nothing). ``x_mm``, ``y_mm``: the bag's centre, to the examiner's right
    and up. ``load_mn`` (12,) pull of the zonule's own fibres in each clock hour; ``stretch_mm`` (12,) their mean
    stretch; ``peak_stretch_mm`` the most stretched fibre anywhere; ``hold_mn`` pull of each instrument, in the order of
    its clock hours; ``area_share`` area inside the equator against rest; ``outline_mm`` (2, N) the equator, clockwise
    from 12; ``margin_mm`` (2, N) the margin of the capsulorhexis, where it is part of the model;
    ``station_stretch_mm`` the most stretched fibre of an empty bag's stations (the peak also looks between them).
    """

    state: State
    x_mm: float
    y_mm: float
    load_mn: tuple[float, ...]
    stretch_mm: tuple[float, ...]
    peak_stretch_mm: float
    hold_mn: tuple[float, ...]
    area_share: float
    outline_mm: Floats
    converged: bool
    iterations: int
    margin_mm: Floats | None = None
    station_stretch_mm: float = 0.0

    @property
    def displacement_mm(self) -> float:
        """Distance of the bag's centre from its resting place [mm]."""
        return float(np.hypot(self.x_mm, self.y_mm))

    def mirrored(self) -> BagState:
        """The same answer in the other eye, equal to the last bit."""
        margin = None if self.margin_mm is None else _mirrored(self.margin_mm)
        return replace(
            self,
            x_mm=-self.x_mm,
            load_mn=mirror_by_hour(self.load_mn),
            stretch_mm=mirror_by_hour(self.stretch_mm),
            outline_mm=_mirrored(self.outline_mm),
            margin_mm=margin,
        )


def _mirrored(stations: Floats) -> Floats:
    other = stations[:, ::-1].copy()
    other[0] = -other[0]
    return other
