"""The normal distribution for arrays, in plain numpy and the standard library."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

_erf = np.frompyfunc(math.erf, 1, 1)
_STANDARD = NormalDist()


def normal_cdf(x: ArrayLike) -> Any:
    """Probability that a standard normal deviate is below ``x``: (1 + erf(x / sqrt 2)) / 2.

    Scalar in, float out; array in, array of the same shape out.

    >>> round(normal_cdf(0.0), 3), round(normal_cdf(1.959964), 4)
    (0.5, 0.975)
    """
    values = 0.5 * (1 + np.asarray(_erf(np.asarray(x, dtype=float) / math.sqrt(2)), dtype=float))
    return float(values) if values.ndim == 0 else values


def normal_quantile(probability: float) -> float:
    """The standard normal deviate below which the share ``probability`` (0 < p < 1) lies.

    >>> round(normal_quantile(0.975), 4)
    1.96
    """
    return _STANDARD.inv_cdf(probability)


def normal_nodes(steps: int) -> NDArray[np.float64]:
    """``steps`` standard normal deviates of equal probability (midpoints): a fixed sample without chance."""
    return np.array([normal_quantile((k + 0.5) / steps) for k in range(steps)])


def central(level: float) -> tuple[float, float]:
    """Lower and upper probability of the central interval that holds the share ``level``.

    >>> tuple(round(p, 3) for p in central(0.9))
    (0.05, 0.95)
    """
    return 0.5 * (1 - level), 0.5 * (1 + level)
