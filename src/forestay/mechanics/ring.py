"""The open ring in the bag: its push and the overlap of its ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.text import tr


@dataclass(frozen=True)
class RingConstants:
    """A ring in common use, and how the linear law errs, from the evidence."""

    PREFIX: ClassVar[str] = "ring"
    free_diameter_mm: float
    """Outside the eye [mm]."""
    closed_diameter_mm: float
    """At which the ends meet [mm]."""
    softest_mn_per_mm: float
    stiffest_mn_per_mm: float
    softened_share: float
    """Force at ``softened_squeeze_mm`` over what the linear law says [-]."""
    softened_squeeze_mm: float


def force_mn(*, free_diameter_mm: Numbers, bag_diameter_mm: Numbers, spring_mn_per_mm: Numbers) -> Numbers:
    """Force with which a squeezed ring pushes the bag outward: k (free - bag), 0 where the ring lies loose.

    Parameters: ``free_diameter_mm`` [mm], ``bag_diameter_mm`` [mm], ``spring_mn_per_mm`` k [mN/mm], all above 0.
    Result: force [mN] as two opposite points would feel it. Linear law of 14 ring models, 0.8162 to 4.5501 mN/mm; a
    thin ring softens when squeezed far (about 15 % at 3.5 mm), so this is an upper figure.

    >>> round(float(force_mn(free_diameter_mm=13.0, bag_diameter_mm=10.2, spring_mn_per_mm=0.8162)), 3)
    2.285

    Reference: J Cataract Refract Surg 2004, doi 10.1016/j.jcrs.2003.12.031.
    """
    require_positive(
        free_diameter_mm=free_diameter_mm, bag_diameter_mm=bag_diameter_mm, spring_mn_per_mm=spring_mn_per_mm
    )
    squeeze = np.maximum(np.asarray(free_diameter_mm) - np.asarray(bag_diameter_mm), 0)
    return plain(np.asarray(spring_mn_per_mm) * squeeze)


def overlap_mm(*, closed_diameter_mm: Numbers, bag_diameter_mm: Numbers) -> Numbers:
    """Overlap of the ring's ends along the bag's equator: pi (closed - bag); negative: a gap.

    Parameters: ``closed_diameter_mm`` at which the ends just meet [mm], ``bag_diameter_mm`` [mm], both above 0.
    Result: length along the equator [mm]. Assumes that the ring lies on a round equator.

    >>> round(float(overlap_mm(closed_diameter_mm=11.0, bag_diameter_mm=10.37)), 3)
    1.979
    """
    require_positive(closed_diameter_mm=closed_diameter_mm, bag_diameter_mm=bag_diameter_mm)
    return plain(np.pi * (np.asarray(closed_diameter_mm) - np.asarray(bag_diameter_mm)))


def require_closing(*, free_diameter_mm: float, closed_diameter_mm: float) -> None:
    """A ring's ends meet only when it is squeezed: closed may not exceed free."""
    require(
        holds=closed_diameter_mm <= free_diameter_mm,
        field="closed_diameter_mm",
        value=closed_diameter_mm,
        allowed=tr("up to free_diameter_mm, {free:g} mm", free=free_diameter_mm),
    )
