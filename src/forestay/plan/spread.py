"""A quantity of this eye with its spread: one central value and the common draws around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LOW_PERCENT, HIGH_PERCENT = 5.0, 95.0
"""Every interval of a plan is the central 90 % of its draws."""


@dataclass(frozen=True)
class Spread:
    """``centre`` without any scatter, ``draws`` (n,) with it."""

    centre: float
    draws: Floats

    @classmethod
    def normal(cls, centre: float, sd: float, z: Floats) -> Spread:
        """Normal scatter: centre + sd z."""
        return cls(float(centre), centre + sd * z)

    @property
    def low(self) -> float:
        """Lower end of the central 90 %."""
        return float(np.percentile(self.draws, LOW_PERCENT))

    @property
    def high(self) -> float:
        """Upper end of the central 90 %."""
        return float(np.percentile(self.draws, HIGH_PERCENT))

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
