"""What holds a bag from outside in the calculation ``bag``: hooks at the margin or the equator, and sutured segments."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

from forestay.calc.bag_records import BagInput
from forestay.evidence import Reader
from forestay.mechanics.tie import Knot
from forestay.mechanics.zonule import Hold, ZonuleParameters


@dataclass(frozen=True)
class HoldConstants:
    """Stiffness [mN/mm], overpull [mm] and arc [degrees] of what holds the equator."""

    PREFIX: ClassVar[str] = "bag_hold"
    hook_stiffness_mn_per_mm: float
    hook_overpull_mm: float
    segment_stiffness_mn_per_mm: float
    segment_arc_deg: float


@dataclass(frozen=True)
class RimHoldConstants:
    """Stiffness [mN/mm] and overpull [mm] of a hook that holds the margin of the capsulorhexis."""

    PREFIX: ClassVar[str] = "rim_hold"
    stiffness_mn_per_mm: float
    overpull_mm: float


def holds_of(given: BagInput, use: Reader, springs: ZonuleParameters) -> tuple[Hold, ...]:
    """Capsule hooks, then segments, each in the order given: hooks at the margin of an empty bag whose opening is known,
    else at the equator. Stiffness [mN/mm], reach and overpull [mm] from the rows of ``bag_hold`` and ``rim_hold``;
    segments just tight. ``springs``: one eye's."""
    if not given.capsule_hooks and not given.segments:
        return ()
    length = float(springs.fibre_length_mm)
    if given.contents == "empty" and given.capsulorhexis_mm is not None:
        rim = use.constants(RimHoldConstants)
        reach = length + (given.bag_diameter_mm - given.capsulorhexis_mm) * 0.5
        hooks = tuple(
            Hold(clock, rim.stiffness_mn_per_mm, reach, rim.overpull_mm, 0.0, "rim") for clock in given.capsule_hooks
        )
        if not given.segments:
            return hooks
        constants = use.constants(HoldConstants)
    else:
        constants = use.constants(HoldConstants)
        hooks = tuple(
            Hold(clock, constants.hook_stiffness_mn_per_mm, length, constants.hook_overpull_mm, 0.0)
            for clock in given.capsule_hooks
        )
    return hooks + tuple(
        Hold(clock, constants.segment_stiffness_mn_per_mm, length, 0.0, constants.segment_arc_deg)
        for clock in given.segments
    )


def drawn_by(holds: tuple[Hold, ...], knot: Knot | None) -> tuple[Hold, ...]:
    """The same with the sutures of segments drawn as far as their knot; hooks as they are."""
    if knot is None:
        return holds
    return tuple(replace(h, overpull_mm=h.overpull_mm + knot.drawn_mm) if h.arc_deg else h for h in holds)
