"""Cases between two rare events: what to expect, and which gaps are unusually short or long.

References
----------
Benneyan JC. Health Care Manag Sci 2001;4:305 (charts of the number between events).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray


class Between(NamedTuple):
    """Cases without an event between two events, at a steady rate."""

    mean: float
    upper: float
    """Mean plus three standard deviations; the same rule has no lower limit, so clusters cannot signal by it."""
    low: float
    median: float
    high: float


def between(*, rate: float, tail: float) -> Between:
    """Cases between events at ``rate`` [share, above 0, below 1]; ``low`` and ``high`` are geometric quantiles.

    Mean (1 − p)/p; mean + 3 √(g (g + 1)); quantiles at ``tail``, one half and 1 − ``tail``.

    >>> found = between(rate=0.01, tail=0.00135)
    >>> round(found.mean), round(found.upper, 3), found.low, found.median, found.high
    (99, 397.496, 0.0, 68.0, 657.0)
    """
    from scipy.stats import geom

    mean = (1 - rate) / rate
    low, median, high = (float(geom.ppf(q, rate)) - 1 for q in (tail, 0.5, 1 - tail))
    return Between(mean, mean + 3 * float(np.sqrt(mean * (mean + 1))), low, median, high)


def gaps(observed: ArrayLike) -> NDArray[np.int64]:
    """Cases without an event before each event, in order; the cases after the last event are not counted.

    >>> gaps([0, 0, 1, 1, 0, 1, 0]).tolist()
    [2, 0, 1]
    """
    at = np.flatnonzero(np.asarray(observed))
    return np.diff(np.concatenate([[-1], at])) - 1
