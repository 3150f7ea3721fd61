"""Charts of a measured quantity: the exponentially weighted mean and the two-sided tabular sum.

References
----------
Montgomery DC, Introduction to Statistical Quality Control; NIST/SEMATECH handbook of statistical methods, 6.3.2;
ISO 7870-4:2021 (sums), ISO 7870-6:2016 (weighted means).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.statistics.cusum import reflected

Values = NDArray[np.float64]


class WeightedMean(NamedTuple):
    """The weighted mean after each value, with the limits that then hold; all in the unit of the values."""

    mean: Values
    low: Values
    high: Values


def weighted_mean(values: ArrayLike, *, centre: float, sd: float, weight: float, width: float) -> WeightedMean:
    """z_t = λ x_t + (1 − λ) z_(t−1), z_0 = ``centre``; limits ``centre`` ± L σ √(λ/(2 − λ) (1 − (1 − λ)^(2t))).

    ``weight`` λ in 0 to 1, ``width`` L in standard errors; ``sd`` σ in the unit of the values, above 0.
    """
    from scipy.signal import lfilter

    x = np.asarray(values, float)
    mean, _ = lfilter([weight], [1, weight - 1], x, zi=[(1 - weight) * centre])
    age = np.arange(1, x.size + 1)
    half = width * sd * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * age)))
    return WeightedMean(np.asarray(mean, float), centre - half, centre + half)


class TabularSum(NamedTuple):
    """Sums of what lies above and below the centre by more than the allowance, and where either passes the limit."""

    above: Values
    below: Values
    signals: NDArray[np.int64]


def tabular_sum(values: ArrayLike, *, centre: float, allowance: float, limit: float) -> TabularSum:
    """C+ = max(0, x − (μ + K) + C+), C− = max(0, (μ − K) − x + C−); a signal where either rises above ``limit``.

    ``allowance`` K and ``limit`` H in the unit of the values (usually half and five standard deviations).
    """
    x = np.asarray(values, float)
    above, below = reflected(x - centre - allowance), reflected(centre - allowance - x)
    out = (above > limit) | (below > limit)
    first = out & ~np.concatenate([[False], out[:-1]])
    return TabularSum(above, below, np.flatnonzero(first))
