"""Bags that the tests of two loops, compiled solvers and manoeuvres share."""

from __future__ import annotations

from typing import Any

from forestay.evidence import default_evidence
from forestay.mechanics.bag_model import Bag, BagConstants, Rim, RimConstants
from forestay.mechanics.fibres import FibreConstants, sheets
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.zonule import Hold, ZonuleParameters

READER = default_evidence().reader()
CONSTANTS = READER.constants(BagConstants)
RINGS = READER.constants(RingConstants)
FIBRES = READER.constants(FibreConstants)
SOFT, STIFF = Ring(13.0, 0.8162, None), Ring(13.0, 4.5501, None)
LOW, HIGH = 10.6, 84.8  # mN/mm, the two readings of the measured zonule
HEALTHY = (1.0,) * 12
RIM = Rim(2.75, READER.constants(RimConstants))
SHEETS = sheets(contents="empty", bag_radius_mm=5.0, constants=FIBRES)


def springs(stiffness: float = LOW) -> ZonuleParameters:
    """A zonule as in the published trials: 1.5 mm long, stretched by 0.2 mm, on a bag of 10 mm."""
    return ZonuleParameters(5.0, 1.5, 0.2, stiffness, READER.number("zonule.slack_share"))


def lost(*hours: int) -> tuple[float, ...]:
    """Support with the hours of those rows (0 for 12) lost."""
    return tuple(0.0 if row in hours else 1.0 for row in range(12))


def bag(support: tuple[float, ...] = HEALTHY, stiffness: float = LOW, **more: Any) -> Bag:
    """An empty bag with a capsulorhexis of 5.5 mm, unless told otherwise."""
    return Bag(support, springs(stiffness), **{"contents": "empty", "rim": RIM, **more})


def hooks(*clocks: float, at: Any, overpull_mm: float = 0.2) -> tuple[Hold, ...]:
    """Hooks of 20 mN/mm, from the ciliary ring to the margin or to the equator."""
    length = 1.5 + (5.0 - RIM.radius_mm if at == "rim" else 0.0)
    return tuple(Hold(clock, 20.0, length, overpull_mm, 0.0, at) for clock in clocks)
