"""One's own figures drawn towards what is published, by how much there is of each.

References
----------
Efron B, Morris C. J Am Stat Assoc 1975;70:311. Gelman A and others, Bayesian Data Analysis: beta-binomial and
normal-normal models.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray


class ShrunkRate(NamedTuple):
    """A rate between the own and the published one."""

    mean: float
    low: float
    high: float
    own_weight: float
    """Share of the mean that comes from one's own cases, 0 to 1."""
    above_prior: float
    """Probability that the true rate is above the published one."""


def rate(*, events: float, n: float, prior_rate: float, prior_weight: float, level: float) -> ShrunkRate:
    """Beta-binomial: the prior counts as ``prior_weight`` cases at ``prior_rate`` [share, above 0, below 1].

    >>> found = rate(events=3, n=50, prior_rate=0.0195, prior_weight=100, level=0.95)
    >>> round(found.mean, 4), round(found.low, 6), round(found.high, 6), round(found.above_prior, 6)
    (0.033, 0.010795, 0.066836, 0.826195)
    """
    from scipy.special import betainc, betaincinv

    alpha = prior_rate * prior_weight + events
    beta = (1 - prior_rate) * prior_weight + n - events
    tail = (1 - level) / 2
    return ShrunkRate(
        mean=float(alpha / (alpha + beta)),
        low=float(betaincinv(alpha, beta, tail)),
        high=float(betaincinv(alpha, beta, 1 - tail)),
        own_weight=float(n / (n + prior_weight)),
        above_prior=float(1 - betainc(alpha, beta, prior_rate)),
    )


class ShrunkMean(NamedTuple):
    """A mean between the own and the published one, in the unit of the values."""

    mean: float
    sd: float
    own_weight: float


def mean(values: ArrayLike, *, prior_mean: float, between_sd: float, within_sd: float) -> ShrunkMean:
    """Normal-normal: own weight n τ² / (n τ² + σ²), with ``between_sd`` τ of surgeons and ``within_sd`` σ of eyes.

    No value gives the prior back.

    >>> mean([1.0, 1.0], prior_mean=0.0, between_sd=1.0, within_sd=1.0).own_weight.__round__(4)
    0.6667
    """
    own: NDArray[np.float64] = np.asarray(values, float)
    n = own.size
    weight = n * between_sd**2 / (n * between_sd**2 + within_sd**2)
    centre = weight * float(own.mean()) + (1 - weight) * prior_mean if n else prior_mean
    return ShrunkMean(centre, float(between_sd * np.sqrt(1 - weight)), float(weight))
