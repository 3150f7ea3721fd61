"""A quantity of this eye with its spread: one central value and the common draws around it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LOW_PERCENT, HIGH_PERCENT = 5.0, 95.0
"""Every interval of a plan is the central 90 % of its draws."""
HALF_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Spread:
    """``centre`` without any scatter, ``draws`` (n,) with it. Two are the same only where they are one object: what is
    worked out from a spread can so be kept by it."""

    centre: float
    draws: Floats

    @classmethod
    def normal(cls, centre: float, sd: float, z: Floats) -> Spread:
        """Normal scatter: centre + sd z."""
        return cls(float(centre), centre + sd * z)

    @cached_property
    def ends(self) -> tuple[float, float]:
        """Both ends of the central 90 %: ``numpy.percentile`` of the draws to the last bit, which takes ten times as
        long for the two."""
        ordered = np.sort(self.draws)
        if np.isnan(ordered[-1]):
            return float("nan"), float("nan")
        return _percentile(ordered, LOW_PERCENT), _percentile(ordered, HIGH_PERCENT)

    @property
    def low(self) -> float:
        """Lower end of the central 90 %."""
        return self.ends[0]

    @property
    def high(self) -> float:
        """Upper end of the central 90 %."""
        return self.ends[1]

    @property
    def sd(self) -> float:
        """Standard deviation of the draws."""
        return float(np.std(self.draws))

    def minus(self, other: Spread) -> Spread:
        """The difference, draw by draw."""
        return Spread(self.centre - other.centre, self.draws - other.draws)

    def share_above(self, limit: float = 0.0) -> float:
        """Share of the draws above ``limit``; draws exactly at it count half."""
        return float(np.mean(self.draws > limit) + np.mean(self.draws == limit) / 2)


def _percentile(ordered: Floats, percent: float) -> float:
    """A percentile of rising values, linear between two of them."""
    place = percent / 100 * (ordered.size - 1)
    below = int(place)
    part = place - below
    low, high = float(ordered[below]), float(ordered[min(below + 1, ordered.size - 1)])
    return low + (high - low) * part if part < HALF_SHARE else high - (high - low) * (1 - part)
