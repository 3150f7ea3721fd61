"""A normal distribution truncated at both ends, by its own mean: smooth inside, nothing outside, no lump at an end."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

_STANDARD = NormalDist()
_erfc = np.frompyfunc(math.erfc, 1, 1)
_deviate = np.frompyfunc(_STANDARD.inv_cdf, 1, 1)
FAR_LIMIT = 20.0
"""How many standard deviations beyond an end the middle of the whole normal may lie: double precision can tell the tail
there, and the mean then lies one twentieth of a standard deviation inside that end."""
BISECTION_STEPS = 60
"""Halvings of the interval in which the middle is sought: below rounding."""
SMALLEST_SHARE = 1e-300
"""What is taken of a share that double precision cannot hold."""


@dataclass(frozen=True)
class Truncated:
    """The part between ``least`` and ``greatest`` of a normal with ``middle`` and standard deviation ``sd``."""

    middle: float
    sd: float
    least: float
    greatest: float

    @property
    def mean(self) -> float:
        """Mean of the truncated distribution: middle + sd (f(a) - f(b)) / (F(b) - F(a)), f and F of the standard normal.

        >>> round(Truncated(0.0, 1.0, 0.0, 40.0).mean, 6) == round(math.sqrt(2 / math.pi), 6)
        True
        """
        mirrored, low, high = self._standard()
        inside = _upper(low) - _upper(high)
        shift = (_density(low) - _density(high)) / inside
        return self.middle + self.sd * (-shift if mirrored else shift)

    @property
    def spread(self) -> float:
        """Standard deviation of the truncated distribution, from its second moment about the middle."""
        _, low, high = self._standard()
        inside = _upper(low) - _upper(high)
        shift = (_density(low) - _density(high)) / inside
        moment = 1 + (low * _density(low) - high * _density(high)) / inside
        return self.sd * math.sqrt(max(moment - shift * shift, 0.0))

    def above(self, value: ArrayLike) -> Any:
        """Probability of more than ``value``; 1 at or below the least, 0 at or above the greatest, and no step between.

        >>> Truncated(0.0, 1.0, -1.0, 1.0).above([-2.0, 0.0, 1.0]).tolist()
        [1.0, 0.5, 0.0]
        """
        at = (np.clip(np.asarray(value, dtype=float), self.least, self.greatest) - self.middle) / self.sd
        mirrored, low, high = self._standard()
        whole = _upper(low) - _upper(high)
        beyond = (_upper(low) - _uppers(-at)) / whole if mirrored else (_uppers(at) - _upper(high)) / whole
        return np.clip(beyond, 0.0, 1.0)

    def quantile(self, below: ArrayLike) -> Any:
        """The value below which the share ``below`` of the distribution lies.

        >>> Truncated(0.0, 1.0, 0.0, 1.0).quantile([0.0, 1.0]).tolist()
        [0.0, 1.0]
        """
        share = np.asarray(below, dtype=float)
        mirrored, low, high = self._standard()
        first, last = _upper(low), _upper(high)
        beyond = first - (1 - share if mirrored else share) * (first - last)
        at = -np.asarray(_deviate(np.clip(beyond, SMALLEST_SHARE, 1 - np.finfo(float).epsneg)), dtype=float)
        value = np.clip(self.middle + self.sd * (-at if mirrored else at), self.least, self.greatest)
        return np.where(share <= 0, self.least, np.where(share >= 1, self.greatest, value))

    def _standard(self) -> tuple[bool, float, float]:
        """Both ends in standard deviations from the middle, mirrored where the middle lies in the upper half: tails are
        then always taken from the side on which double precision can tell them."""
        low, high = (self.least - self.middle) / self.sd, (self.greatest - self.middle) / self.sd
        return (True, -high, -low) if -low > high else (False, low, high)


@lru_cache(maxsize=512)
def with_mean(*, mean: float, sd: float, least: float, greatest: float) -> Truncated:
    """The truncated normal of that ``mean``, from a normal of that ``sd``; all in one unit.

    The middle is found by bisection: the mean rises with it. Two of one ``sd`` and different means never cross: a
    greater mean makes more of every value more likely (their densities' ratio rises). The spread of what is left is less
    than ``sd``. A ``mean`` nearer to an end than a twentieth of ``sd`` is taken as that far from it.

    >>> made = with_mean(mean=0.177, sd=0.125, least=0.0, greatest=0.8)
    >>> round(made.mean, 9), round(made.middle, 3)
    (0.177, 0.149)
    """
    below, above = least - FAR_LIMIT * sd, greatest + FAR_LIMIT * sd
    for _ in range(BISECTION_STEPS):
        half = 0.5 * (below + above)
        if Truncated(half, sd, least, greatest).mean < mean:
            below = half
        else:
            above = half
    return Truncated(0.5 * (below + above), sd, least, greatest)


@lru_cache(maxsize=128)
def whole_sd(*, mean: float, spread: float, least: float, greatest: float) -> float:
    """Standard deviation of the normal that, truncated, has this ``mean`` and this ``spread``; all in one unit.

    Found by bisection: what is left spreads more when the normal does. A spread that no truncated normal of that mean
    has (nearly the mean's own distance from an end) is answered with the widest that is tried.

    >>> wide = whole_sd(mean=0.15, spread=0.12, least=0.0, greatest=0.8)
    >>> made = with_mean(mean=0.15, sd=wide, least=0.0, greatest=0.8)
    >>> round(made.mean, 6), round(made.spread, 6)
    (0.15, 0.12)
    """
    if spread == 0:
        return 0.0
    below, above = spread, greatest - least
    for _ in range(BISECTION_STEPS):
        half = 0.5 * (below + above)
        if with_mean.__wrapped__(mean=mean, sd=half, least=least, greatest=greatest).spread < spread:
            below = half
        else:
            above = half
    return 0.5 * (below + above)


def _upper(at: float) -> float:
    """Probability of a standard normal deviate above ``at``, with all its digits far out."""
    return 0.5 * math.erfc(at / math.sqrt(2))


def _uppers(at: Any) -> Any:
    return 0.5 * np.asarray(_erfc(np.asarray(at) / math.sqrt(2)), dtype=float)


def _density(at: float) -> float:
    return math.exp(-0.5 * at * at) / math.sqrt(2 * math.pi)
