"""What the planned ring does to the empty bag: where the bag comes to rest in it, and what each pull then asks.

The ring is the open one: it bends, its ends push where they lie, and friction holds it. It is let go at its planned
place, then the instrument pulls. Comparative, like every load here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from forestay.evidence import Reader
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.open_ring_bag import Setting
from forestay.mechanics.open_ring_model import OpenRingConstants, whole_ring
from forestay.mechanics.open_ring_pull import ANSWER_STATIONS, RESTS, RingedBag, ringed
from forestay.mechanics.ring_loop import RingConstants, closed_diameter_mm
from forestay.mechanics.zonule import ZonuleParameters, clock_of

STILL_TOLERANCE = 5e-3
"""A shift below this share of the resting stretch has no direction."""


@dataclass(frozen=True)
class PlannedRing:
    """The ring that is planned with, its constants and those of the bag."""

    bag: BagConstants
    rings: RingConstants
    opened: OpenRingConstants
    free_diameter_mm: float
    spring_mn_per_mm: float

    @classmethod
    def read(cls, use: Reader) -> PlannedRing:
        """A ring of medium size and stiffness."""
        return cls(
            use.constants(BagConstants),
            use.constants(RingConstants),
            use.constants(OpenRingConstants),
            use.number("ring.free_diameter_mm"),
            use.number("load.ring_spring_mn_per_mm"),
        )


@dataclass(frozen=True)
class RingedRest:
    """Rest of the empty bag with the ring let go, healthy resting stretch = 1. ``state`` as
    :class:`forestay.mechanics.open_ring_model.OpenRingState`; numbers are None where nothing rests."""

    state: str
    off_centre: float | None
    towards_clock: float | None
    peak: float | None
    turned_deg: float | None


def rest(
    *, support: tuple[float, ...], parameters: ZonuleParameters, gap_clock: float, planned: PlannedRing
) -> RingedRest:
    """Where the empty bag lies with the ring in it, its ends at ``gap_clock`` [clock hours], before anything pulls."""
    found = _ringed(support, parameters, gap_clock, planned).alone
    if found.state not in RESTS:
        return RingedRest(found.state, None, None, None, None)
    unit, bag = float(parameters.prestretch_mm), found.bag
    shift = bag.displacement_mm / unit
    return RingedRest(
        state=found.state,
        off_centre=shift,
        towards_clock=clock_of(bag.x_mm, bag.y_mm) if shift > STILL_TOLERANCE else None,
        peak=bag.peak_stretch_mm / unit,
        turned_deg=found.pieces[0].turned_deg,
    )


@lru_cache(maxsize=1024)
def peak_stretch_mm(
    support: tuple[float, ...], parameters: ZonuleParameters, load: Load, gap_clock: float, planned: PlannedRing
) -> float:
    """Stretch of the most stretched fibre [mm] under a pull on the bag with the ring in; infinite where nothing rests."""
    found = _ringed(support, parameters, gap_clock, planned).peak_under(load)
    return found.stretch_mm if found.state in RESTS else float("inf")


def _ringed(
    support: tuple[float, ...], parameters: ZonuleParameters, gap_clock: float, planned: PlannedRing
) -> RingedBag:
    """The bag at rest with the ring: every pull begins from there, so it is solved once for all of them."""
    closed = closed_diameter_mm(free_diameter_mm=planned.free_diameter_mm, constants=planned.rings)
    piece = whole_ring(
        free_diameter_mm=planned.free_diameter_mm,
        closed_diameter_mm=closed,
        spring_mn_per_mm=planned.spring_mn_per_mm,
        gap_clock=gap_clock,
    )
    setting = Setting(planned.bag, planned.rings, planned.opened, planned.opened.friction, ANSWER_STATIONS)
    return ringed(bag=Bag(support, parameters, "empty"), piece=piece, setting=setting)
