"""Two proportions side by side: difference, ratio and number needed, each with its interval.

References
----------
Newcombe RG. Stat Med 1998;17:873 (method 10: the difference from two score intervals). Katz D et al. Biometrics
1978;34:469 (log of the ratio). Altman DG. BMJ 1998;317:1309 (number needed from the ends of the difference).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from forestay.statistics.proportion import wilson


@dataclass(frozen=True)
class TwoRates:
    """First rate against second. ``ratio`` is None where a count is 0; ``needed`` None where the rates are equal."""

    first: float
    second: float
    difference: float
    difference_low: float
    difference_high: float
    ratio: tuple[float, float, float] | None
    needed: float | None
    needed_from: float | None
    """The least and the most number needed; ``needed_to`` None: the interval of the difference holds 0."""
    needed_to: float | None


def two_rates(*, events: tuple[int, int], n: tuple[int, int], level: float) -> TwoRates:
    """Compare ``events`` of ``n`` [counts] in two groups at ``level``.

    Difference p1 - p2 with Newcombe's interval from the two score intervals; ratio p1 / p2 with exp(+- z sqrt(1/a - 1/n1
    + 1/b - 1/n2)); number needed 1 / |difference|, its interval from the ends of the difference.

    >>> found = two_rates(events=(30, 6), n=(37777, 38160), level=0.95)
    >>> round(100 * found.first, 4), round(100 * found.second, 4), round(found.needed)
    (0.0794, 0.0157, 1570)
    """
    from scipy.special import ndtri

    (a, b), (m, k) = events, n
    first, second = a / m, b / k
    one, two = (wilson(events=e, n=size, level=level) for e, size in zip(events, n, strict=True))
    difference = first - second
    low = difference - math.hypot(first - float(one.low), float(two.high) - second)
    high = difference + math.hypot(float(one.high) - first, second - float(two.low))
    ratio = None
    if a and b:
        half = float(ndtri((1 + level) / 2)) * math.sqrt(1 / a - 1 / m + 1 / b - 1 / k)
        ratio = (first / second, first / second * math.exp(-half), first / second * math.exp(half))
    ends = sorted((abs(low), abs(high)))
    apart = low > 0 or high < 0
    return TwoRates(
        first=first,
        second=second,
        difference=difference,
        difference_low=low,
        difference_high=high,
        ratio=ratio,
        needed=1 / abs(difference) if difference else None,
        needed_from=1 / ends[1] if ends[1] else None,
        needed_to=1 / ends[0] if apart else None,
    )
