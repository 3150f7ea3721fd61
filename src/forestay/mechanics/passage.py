"""The smallest safe opening for a nucleus, and whether this opening lets it out, over all draws of what is not known.

Joins the closed forms of the flat way with the search of the tipped way (``wheel_path``), for draws of nucleus and
tolerated stretch at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.geometry import Floats, Numbers, require, require_positive
from forestay.mechanics.wheel_path import wheel_path
from forestay.text import tr

LOW_PERCENT, HIGH_PERCENT = 5, 95
"""Ends of the interval told."""
HALTON_BASES_DRAWS = (2, 3, 5)
"""One base a quantity, for even draws."""
TILT_STATIONS = 61
"""Tilts tried for each draw."""


@dataclass(frozen=True)
class PassageConstants:
    """``room_below_mm`` [mm] from the opening to the back of the bag; ``weak_stretch_low`` and ``weak_stretch_high`` [-],
    tolerated stretch planned upon where the zonule is weak; ``weak_support``, mean share of healthy support below which
    it counts as weak."""

    PREFIX: ClassVar[str] = "passage"
    room_below_mm: float
    weak_stretch_low: float
    weak_stretch_high: float
    weak_support: float


@dataclass(frozen=True)
class SmallestOpening:
    """Least opening [mm] by draw: lying ``flat_mm``, ``tipped_mm``, and the lesser, ``either_mm``; infinite where the
    chamber has no room for the nucleus."""

    flat_mm: Floats
    tipped_mm: Floats
    either_mm: Floats


def even_draws(*, count: int, quantities: int) -> Floats:
    """``count`` evenly spread points in the unit cube (quantities, count), the same every time, none at 0 or 1.

    The radical inverses of 1, 2 ... in the first primes; the first point of each is 1/2, 1/3, 1/5.
    Reference: Halton JH, Numer Math 1960;2:84.
    """
    require(
        holds=0 < quantities <= len(HALTON_BASES_DRAWS),
        field="quantities",
        value=quantities,
        allowed=tr("1 to {most}", most=len(HALTON_BASES_DRAWS)),
    )
    points = np.zeros((quantities, count))
    for number, base in enumerate(HALTON_BASES_DRAWS[:quantities]):
        left, share = np.arange(1, count + 1), 1.0
        while left.any():
            share /= base
            points[number] += share * (left % base)
            left //= base
    return points


def smallest_opening(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    tolerated_stretch: Numbers,
    room_above_mm: Numbers,
    clearance_mm: float,
    constants: PassageConstants,
) -> SmallestOpening:
    """Least opening through which the nucleus passes: D / s flat, worst girth / (pi s) tipped, plus clearance.

    Parameters: ``nucleus_diameter_mm``, ``nucleus_thickness_mm``, ``room_above_mm`` [mm] above 0, ``tolerated_stretch``
    1 or more [-], numbers or draws; ``clearance_mm`` for the soft shell and an opening off centre [mm]; ``constants``.
    Result: :class:`SmallestOpening`; missing draws stay missing.

    >>> c = PassageConstants(6.0, 1.0, 1.2, 0.8)
    >>> mean = dict(nucleus_diameter_mm=7.13, nucleus_thickness_mm=3.05, tolerated_stretch=1.0)
    >>> found = smallest_opening(**mean, room_above_mm=4.2, clearance_mm=0.0, constants=c)
    >>> round(float(found.flat_mm), 2), round(float(found.tipped_mm), 2)
    (7.13, 5.3)
    """
    require_positive(nucleus_diameter_mm=nucleus_diameter_mm, tolerated_stretch=tolerated_stretch)
    require(
        holds=np.asarray(tolerated_stretch) >= 1,
        field="tolerated_stretch",
        value=tolerated_stretch,
        allowed=tr("1 or more"),
    )
    path = wheel_path(
        nucleus_diameter_mm=nucleus_diameter_mm,
        nucleus_thickness_mm=nucleus_thickness_mm,
        room_above_mm=room_above_mm,
        room_below_mm=constants.room_below_mm,
        stations=TILT_STATIONS,
    )
    worst, stretch = np.asarray(path.worst_girth_mm), np.asarray(tolerated_stretch)
    flat = np.asarray(nucleus_diameter_mm) / stretch + clearance_mm
    flat = np.where(np.isinf(worst), np.inf, flat)
    tipped = worst / (np.pi * stretch) + clearance_mm
    return SmallestOpening(flat, np.asarray(tipped), np.minimum(flat, tipped))


def way_out(*, smallest: SmallestOpening, capsulorhexis_mm: Numbers) -> NDArray[np.str_]:
    """Which way this opening lets the nucleus out: flat where it can, else tipped, else none, by draw."""
    require_positive(capsulorhexis_mm=capsulorhexis_mm)
    opening = np.asarray(capsulorhexis_mm)
    flat, tipped = opening >= smallest.flat_mm, opening >= smallest.tipped_mm
    return np.where(flat, "flat", np.where(tipped, "tipped", "none"))


def interval(values: Floats) -> tuple[float, float, float]:
    """5th percentile, median and 95th of the draws; an end that lies among draws without any way is infinite."""
    order = np.sort(values)
    places = [
        round((len(order) - 1) * share / 100) for share in (LOW_PERCENT, (LOW_PERCENT + HIGH_PERCENT) / 2, HIGH_PERCENT)
    ]
    low, middle, high = (float(order[place]) for place in places)
    return low, middle, high
