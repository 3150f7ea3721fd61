"""Intervals for one proportion: Wilson's score interval, the exact one, and the exact upper bound of a clean series.

References
----------
Wilson EB. J Am Stat Assoc 1927;22:209. Clopper CJ, Pearson ES. Biometrika 1934;26:404. Newcombe RG. Stat Med
1998;17:857 (recommends score or tail-area intervals).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray


class Interval(NamedTuple):
    """Lower and upper end [share, 0 to 1], scalar or array."""

    low: NDArray[np.float64]
    high: NDArray[np.float64]


def wilson(*, events: ArrayLike, n: ArrayLike, level: float) -> Interval:
    """Wilson's score interval at ``level``, for display.

    (p + z²/2n ± z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n), with p = events / n.

    ``events`` 0 to ``n``, ``n`` at least 1; scalar or array. Ends at 0 and 1 are exact where no or every case had it.

    >>> ends = wilson(events=81, n=263, level=0.95)
    >>> round(float(ends.low), 4), round(float(ends.high), 4)
    (0.2553, 0.3662)
    """
    from scipy.special import ndtri

    k, size = np.asarray(events, float), np.asarray(n, float)
    z = ndtri((1 + level) / 2)
    share = k / size
    spread = 1 + z**2 / size
    centre = (share + z**2 / (2 * size)) / spread
    half = z * np.sqrt(share * (1 - share) / size + z**2 / (4 * size**2)) / spread
    low = np.where(k <= 0, 0.0, np.maximum(centre - half, 0))
    return Interval(low, np.where(k >= size, 1.0, np.minimum(centre + half, 1)))


def exact(*, events: ArrayLike, n: ArrayLike, level: float) -> Interval:
    """The exact (Clopper–Pearson) interval at ``level``: at least that coverage whatever the true share.

    Ends are quantiles of beta distributions: B(α/2; k, n − k + 1) and B(1 − α/2; k + 1, n − k), α = 1 − ``level``.

    ``events`` 0 to ``n``, ``n`` at least 1; scalar or array.

    >>> ends = exact(events=5, n=25, level=0.95)
    >>> round(float(ends.low), 4), round(float(ends.high), 4)
    (0.0683, 0.407)
    """
    from scipy.special import betaincinv

    k, size = np.asarray(events, float), np.asarray(n, float)
    tail = (1 - level) / 2
    low = np.where(k <= 0, 0.0, betaincinv(np.maximum(k, 1), size - k + 1, tail))
    high = np.where(k >= size, 1.0, betaincinv(k + 1, np.maximum(size - k, 1), 1 - tail))
    return Interval(low, high)


def upper_bound(*, events: ArrayLike, n: ArrayLike, level: float) -> NDArray[np.float64]:
    """The one-sided exact upper bound at ``level`` [share]: what a clean or nearly clean series still allows.

    For no event it is 1 − (1 − ``level``)^(1/n), about 3/n at 0.95.

    >>> round(float(upper_bound(events=0, n=100, level=0.95)), 6)
    0.029513
    """
    from scipy.special import betaincinv

    k, size = np.asarray(events, float), np.asarray(n, float)
    found: NDArray[np.float64] = np.where(k >= size, 1.0, betaincinv(k + 1, np.maximum(size - k, 1), level))
    return found
