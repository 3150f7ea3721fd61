"""The zonule as springs: how stiff at what age, how long, how much stretched at rest.

The zonule is taken as fibres from the bag's equator straight outwards to a ciliary ring. A fibre carries tension
only: ``T = k <length - free length>+``. At rest in a healthy eye each fibre is stretched by the pre-stretch.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.answer import Doubt
from forestay.frame import HOURS
from forestay.text import tr

Floats = NDArray[np.float64]
HOUR_COUNT = len(HOURS)
QUADRANT_HOURS = HOUR_COUNT // (2 * 2)
CLOCK_GRID = 2.0**24  # clock positions are kept to this part of an hour, so that 12 - h is exact


@dataclass(frozen=True)
class ZonuleConstants:
    """What was measured or assumed about the zonule.

    ``load_ages_years`` [years] and ``load_mn`` [mN]: pull at ``load_elongation_mm`` [mm] at those ages;
    ``fibre_length_mm`` [mm]: equator to ciliary ring at rest, stretch included; ``prestretch_mm`` [mm]: part of it
    that is stretch; ``slack_share``: a support whose whole pull is below this share of what it would carry at rest in
    the middle holds nothing; ``stiffness_scale_high``: how many times stiffer the other reading of the measurements
    is; ``usual_age_years`` [years]: taken where no age is given.
    """

    PREFIX: ClassVar[str] = "zonule"
    load_ages_years: tuple[float, ...]
    load_mn: tuple[float, ...]
    load_elongation_mm: float
    fibre_length_mm: float
    prestretch_mm: float
    slack_share: float
    stiffness_scale_high: float
    usual_age_years: float


@dataclass(frozen=True)
class ZonuleParameters:
    """The springs of one bag. Numbers, or arrays with draws on the last axis where a draw varies them.

    ``bag_radius_mm`` [mm]; ``fibre_length_mm`` [mm] equator to ciliary ring at rest, stretch included;
    ``prestretch_mm`` [mm]; ``total_stiffness_mn_per_mm`` [mN/mm], of all clock hours together;
    ``slack_share``: share of the load that the support would carry at rest, below which it holds nothing.
    """

    bag_radius_mm: float | Floats
    fibre_length_mm: float | Floats
    prestretch_mm: float | Floats
    total_stiffness_mn_per_mm: float | Floats
    slack_share: float

    @property
    def resting_load_mn(self) -> float | Floats:
        """Resting tension of one healthy clock hour [mN]: total stiffness times pre-stretch / 12."""
        return self.total_stiffness_mn_per_mm * self.prestretch_mm / HOUR_COUNT


def total_stiffness_mn_per_mm(*, age_years: float, constants: ZonuleConstants) -> float:
    """Stiffness of the whole zonule at an age: pull at the measured elongation, divided by it.

    Equation: ``k = F(age) / e``, F linear between the measured ages and held at the ends.

    Parameters: ``age_years`` [years]; ``constants``, the measured pulls. Result [mN/mm].
    Range: donors of 60 to 90 years; outside, the nearest measured age is used and :func:`age_doubts` says so.

    >>> measured = ZonuleConstants((60.0, 73.0, 90.0), (9.2, 6.9, 6.2), 0.65, 1.5, 0.2, 0.1, 8.0, 73.0)
    >>> round(total_stiffness_mn_per_mm(age_years=73, constants=measured), 1)
    10.6

    References: 11 donor eyes, conference abstract 2351379 of 2011; the row ``zonule.load_mn``.
    """
    pull_mn = np.interp(age_years, constants.load_ages_years, constants.load_mn)
    return float(pull_mn / constants.load_elongation_mm)


def age_doubts(*, age_years: float, constants: ZonuleConstants) -> list[Doubt]:
    """Says that the age lies outside the measured donors, where it does."""
    low, high = min(constants.load_ages_years), max(constants.load_ages_years)
    if low <= age_years <= high:
        return []
    message = tr(
        "The zonule's pull was measured at {low:g} to {high:g} years; at {age:g} years the nearest of these is used.",
        low=low,
        high=high,
        age=age_years,
    )
    return [Doubt("outside-studied-range", message)]


def parameters(
    *,
    bag_diameter_mm: float | Floats,
    age_years: float,
    constants: ZonuleConstants,
    stiffness_scale: float | Floats = 1,
) -> ZonuleParameters:
    """The springs of a bag of that diameter [mm] in an eye of that age [years].

    ``stiffness_scale`` multiplies the measured stiffness (1 as read; the scenario of the scale conflict uses the
    row ``zonule.stiffness_scale_high``).
    """
    return ZonuleParameters(
        bag_radius_mm=bag_diameter_mm * 0.5,
        fibre_length_mm=constants.fibre_length_mm,
        prestretch_mm=constants.prestretch_mm,
        total_stiffness_mn_per_mm=total_stiffness_mn_per_mm(age_years=age_years, constants=constants) * stiffness_scale,
        slack_share=constants.slack_share,
    )


@dataclass(frozen=True)
class Hold:
    """An instrument that holds the equator, or the margin of the capsulorhexis: tension only, from a fixed point outside.

    ``clock`` [clock hours]; ``stiffness_mn_per_mm`` [mN/mm]; ``length_mm`` [mm], equator at rest to the fixed point;
    ``overpull_mm`` [mm], how much of that is stretch when the equator is at rest; ``arc_deg`` [degrees] of equator
    over which the hold is spread (0: at one point); ``at``: ``equator``, or ``rim`` for the margin of the capsulorhexis
    (``length_mm`` and ``overpull_mm`` then count from the margin at rest; a bag without a margin is held at the equator).
    """

    clock: float
    stiffness_mn_per_mm: float
    length_mm: float
    overpull_mm: float
    arc_deg: float
    at: Literal["equator", "rim"] = "equator"


@lru_cache(maxsize=1024)
def direction(clock: float) -> tuple[float, float]:
    """Unit vector (x to the examiner's right, y up) of a clock position, exactly mirrored about the 12-6 line.

    >>> direction(12), direction(3), direction(9)
    ((0.0, 1.0), (1.0, 0.0), (-1.0, 0.0))
    """
    x, y = directions(np.array([float(clock)]))
    return float(x[0]), float(y[0])


def directions(clock: ArrayLike) -> tuple[Floats, Floats]:
    """Unit vectors of clock positions. Equal to the last bit, but for the sign of x, at h and 12 - h.

    Every angle is brought to the first eighth of the circle by exact steps, so that sine and cosine there are shared
    by all mirror images.
    """
    turn = np.mod(np.asarray(clock, dtype=np.float64), HOUR_COUNT)
    from_top = np.minimum(turn, HOUR_COUNT - turn)
    from_axis = np.minimum(from_top, HOUR_COUNT * 0.5 - from_top)
    radians = np.deg2rad(from_axis * (360 / HOUR_COUNT))
    across, along = np.sin(radians), np.cos(radians)
    level = from_axis == QUADRANT_HOURS
    along = np.where(level, 0.0, along)
    x = np.where(turn <= HOUR_COUNT * 0.5, across, -across)
    y = np.where(from_top <= QUADRANT_HOURS, along, -along)
    return np.asarray(x + 0.0, dtype=np.float64), np.asarray(y + 0.0, dtype=np.float64)


def on_grid(clock: float) -> float:
    """The clock position rounded so that its mirror image is exact (by less than 1e-7 hours)."""
    return round(clock * CLOCK_GRID) / CLOCK_GRID


def clock_of(x: float, y: float) -> float:
    """Clock position of a direction, 0 < h <= 12; mirrored exactly: the direction (-x, y) has 12 - h.

    >>> clock_of(0, 1), clock_of(1, 0), clock_of(-1, 0), clock_of(0, -1)
    (12.0, 3.0, 9.0, 6.0)
    """
    from_top = on_grid(float(np.degrees(np.arctan2(abs(x), y))) * (HOUR_COUNT / 360))
    hour = from_top if x >= 0 else HOUR_COUNT - from_top
    return hour if hour > 0 else float(HOUR_COUNT)
