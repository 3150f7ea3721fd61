"""The chance that a refraction falls within limits, and the power that makes it most likely.

The error of a prediction is taken as normal around the prediction, so the chance of a region (a, b) is

    P = Phi((b - m) / s) - Phi((a - m) / s)

with m the predicted refraction [D] and s one standard deviation [D]; with s = 0 it is 1 or 0. Scalars or arrays.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from forestay.errors import InvalidInput
from forestay.optics.values import Number, choose
from forestay.text import tr

_erf = np.frompyfunc(math.erf, 1, 1)


@dataclass(frozen=True, slots=True)
class Region:
    """Refractions that are accepted, from ``low_d`` to ``high_d`` [D]; one beyond ``refused_above_d`` [D] is refused."""

    low_d: float
    high_d: float
    refused_above_d: float | None = None

    def __post_init__(self) -> None:
        if not self.low_d < self.high_d:
            raise InvalidInput(
                tr(
                    "The accepted refractions run from {low:+.2f} to {high:+.2f} D; the first must be the more myopic.",
                    low=self.low_d,
                    high=self.high_d,
                ),
                field="accept_to_d",
                value=self.high_d,
                allowed=tr("more than accept_from_d"),
            )
        if self.refused_above_d is not None and self.refused_above_d < self.high_d:
            raise InvalidInput(
                tr(
                    "Refractions above {refused:+.2f} D are refused, but those up to {high:+.2f} D accepted.",
                    refused=self.refused_above_d,
                    high=self.high_d,
                ),
                field="refuse_above_d",
                value=self.refused_above_d,
                allowed=tr("accept_to_d or more"),
            )

    @property
    def middle_d(self) -> float:
        """The middle [D]."""
        return 0.5 * (self.low_d + self.high_d)


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances of a refraction more myopic than the region, in it, and more hyperopic, which add up to 1; and of one that
    is refused, 0 where nothing is."""

    below: Number
    within: Number
    above: Number
    refused: Number = 0.0


def below(*, mean_d: Number, sd_d: Number, limit_d: Number) -> Number:
    """Chance of a refraction under ``limit_d`` [D]; exactly at it without spread counts half.

    >>> round(float(below(mean_d=0.0, sd_d=0.5, limit_d=0.5)), 4)
    0.8413
    """
    some = np.greater(sd_d, 0)
    apart = np.subtract(limit_d, mean_d)
    z = choose(some, apart / choose(some, sd_d, 1.0), np.copysign(np.inf, apart)) / math.sqrt(2)
    z = choose(np.equal(apart, 0), 0.0, z)
    found = 0.5 * (1 + np.asarray(_erf(np.asarray(z, dtype=float)), dtype=float))
    chance: Number = found[()]
    return chance


def within(*, mean_d: Number, sd_d: Number, target_d: Number, tolerance_d: Number) -> Number:
    """Chance of a refraction within ``tolerance_d`` [D] of ``target_d`` [D].

    >>> round(float(within(mean_d=0.0, sd_d=0.65, target_d=0.0, tolerance_d=1.0)), 2)
    0.88
    """
    high = below(mean_d=mean_d, sd_d=sd_d, limit_d=np.add(target_d, tolerance_d))
    low = below(mean_d=mean_d, sd_d=sd_d, limit_d=np.subtract(target_d, tolerance_d))
    return high - low


def chances(region: Region, *, mean_d: Number, sd_d: Number) -> Chances:
    """The three chances of a refraction predicted as ``mean_d`` [D] with one SD ``sd_d`` [D].

    >>> told = chances(Region(-1.0, 0.0), mean_d=-0.5, sd_d=0.5)
    >>> round(float(told.within), 4), round(float(told.above), 4)
    (0.6827, 0.1587)
    """
    low = below(mean_d=mean_d, sd_d=sd_d, limit_d=region.low_d)
    high = below(mean_d=mean_d, sd_d=sd_d, limit_d=region.high_d)
    refused: Number = 0.0
    if region.refused_above_d is not None:
        refused = 1 - below(mean_d=mean_d, sd_d=sd_d, limit_d=region.refused_above_d)
    return Chances(low, high - low, 1 - high, refused)


@dataclass(frozen=True, slots=True)
class Offered:
    """A power that can be had [D], the refraction that it gives [D], one SD [D], and its chances."""

    power_d: float
    refraction_d: float
    sd_d: float
    chances: Chances


def best_power(
    region: Region, *, powers_d: Sequence[float], refraction_d: Callable[[float], float], sd_d: Callable[[float], float]
) -> tuple[Offered, ...]:
    """The powers on offer [D], the one with the largest chance of ``region``, less that of a refused refraction, first.

    ``refraction_d`` and ``sd_d`` give the predicted refraction and its spread [D] for a power. Of two powers equally
    likely, the one nearer the region's middle comes first.
    """
    offered = []
    for power in powers_d:
        mean, sd = refraction_d(power), sd_d(power)
        offered.append(Offered(power, mean, sd, chances(region, mean_d=mean, sd_d=sd)))
    return tuple(sorted(offered, key=lambda o: (-_worth(o.chances), abs(o.refraction_d - region.middle_d))))


def _worth(chances: Chances) -> float:
    return round(float(chances.within) - float(chances.refused), 12)
