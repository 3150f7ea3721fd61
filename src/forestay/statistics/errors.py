"""Summary of prediction errors: mean, spread, absolute errors, shares within bands.

References
----------
Hoffer KJ, Savini G. Ophthalmology 2021;128:e115 (what to report of lens power errors).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

EDGE_ROUNDING = 1e-9
"""An error on the edge of a band counts as inside, whatever the rounding of its last digit."""


class Summary(NamedTuple):
    """Of errors, in their unit; ``within`` are shares by band."""

    n: int
    mean: float
    sd: float | None
    mean_absolute: float
    median_absolute: float
    root_mean_square: float
    largest: float
    within: tuple[float, ...]


def summary(errors: ArrayLike, *, bands: ArrayLike) -> Summary:
    """Errors (achieved less predicted) and the share of them within each band of ``bands``, in the same unit.

    >>> found = summary([-0.5, 0.25, 1.0], bands=[0.5, 1])
    >>> round(found.mean, 4), [round(share, 3) for share in found.within]
    (0.25, [0.667, 1.0])
    """
    e = np.asarray(errors, float)
    size = np.abs(e)
    return Summary(
        n=e.size,
        mean=float(e.mean()),
        sd=float(e.std(ddof=1)) if e.size > 1 else None,
        mean_absolute=float(size.mean()),
        median_absolute=float(np.median(size)),
        root_mean_square=float(np.sqrt(np.mean(e**2))),
        largest=float(size.max()),
        within=tuple(float(np.mean(size <= band + EDGE_ROUNDING)) for band in np.atleast_1d(np.asarray(bands, float))),
    )
