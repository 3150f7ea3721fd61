"""Limits of a funnel: how far the rate of a series of a given size may lie from a target by chance alone.

References
----------
Spiegelhalter DJ. Stat Med 2005;24:1185 (interpolated exact binomial limits; over-dispersion).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.statistics.proportion import Interval


def limits(*, n: ArrayLike, target: float, level: float) -> Interval:
    """Interpolated exact binomial limits that hold a share ``level`` of series on target.

    For tail probability q: r is the smallest count with P(R ≤ r) ≥ q, α = (P(R ≤ r) − q) / P(R = r), limit
    (r − α) / n, at least 0. ``n``: cases, at least 1, scalar or array; ``target`` [share, 0 to 1].

    >>> ends = limits(n=500, target=0.0195, level=0.95)
    >>> round(float(ends.low), 5), round(float(ends.high), 5)
    (0.00724, 0.03155)
    """
    tail = (1 - level) / 2
    size = np.asarray(n, float)
    return Interval(_limit(size, target, tail), _limit(size, target, 1 - tail))


def _limit(n: NDArray[np.float64], target: float, q: float) -> NDArray[np.float64]:
    from scipy.stats import binom

    r = np.asarray(binom.ppf(q, n, target), float)
    mass = np.asarray(binom.pmf(r, n, target), float)
    over = (np.asarray(binom.cdf(r, n, target), float) - q) / np.where(mass > 0, mass, 1)
    found: NDArray[np.float64] = np.clip((r - over) / n, 0, 1)
    return found


class Dispersion(NamedTuple):
    """How much more the rates of several series differ than chance explains."""

    pooled: float
    """All events over all cases [share]."""
    z: NDArray[np.float64]
    """Distance of each series from the pooled rate, in standard errors."""
    phi: float
    """Mean of the squared (winsorised) distances; about 1 where chance explains all."""
    tau2: float
    """Variance between series beyond chance, additive form; 0 where there is none."""


def dispersion(*, events: ArrayLike, n: ArrayLike, winsorised: float) -> Dispersion:
    """Over-dispersion of several series about their pooled rate.

    ``events``, ``n``: counts by series, one axis; ``winsorised``: share of series at each end whose distance is drawn
    in to that quantile before squaring (0: none).
    """
    k, size = np.asarray(events, float), np.asarray(n, float)
    pooled = float(k.sum() / size.sum())
    variance = pooled * (1 - pooled) / size
    z = (k / size - pooled) / np.sqrt(variance)
    drawn = np.clip(z, np.quantile(z, winsorised), np.quantile(z, 1 - winsorised)) if winsorised else z
    phi = float(np.mean(drawn**2))
    weight = 1 / variance
    count = z.size
    tau2 = (count * phi - (count - 1)) / (weight.sum() - (weight**2).sum() / weight.sum())
    return Dispersion(pooled, z, phi, float(max(0.0, tau2)))


def widened(*, n: ArrayLike, target: float, level: float, tau2: float) -> Interval:
    """Limits that allow for a spread between series: target ± z √(target (1 − target) / n + ``tau2``), within 0 to 1.

    With ``tau2`` 0, the exact limits of :func:`limits`; never narrower than those. ``n``: cases, scalar or array;
    ``target``, ``level`` [share, 0 to 1]; ``tau2`` [share squared].

    >>> ends = widened(n=400, target=0.05, level=0.95, tau2=0.0001)
    >>> round(float(ends.low), 5), round(float(ends.high), 5)  # 0.05 ± 1.95996 √(0.05 × 0.95 / 400 + 0.0001)
    (0.02101, 0.07899)
    """
    from scipy.special import ndtri

    plain = limits(n=n, target=target, level=level)
    if tau2 <= 0:
        return plain
    half = ndtri((1 + level) / 2) * np.sqrt(target * (1 - target) / np.asarray(n, float) + tau2)
    return Interval(
        np.minimum(plain.low, np.clip(target - half, 0, 1)), np.maximum(plain.high, np.clip(target + half, 0, 1))
    )


def chance_squares(*, count: int, level: float) -> float:
    """Sum of squared distances that ``count`` series on one common rate stay below in a share ``level`` of the time.

    >>> round(chance_squares(count=8, level=0.95), 3)
    14.067
    """
    from scipy.stats import chi2

    return float(chi2.ppf(level, count - 1))
