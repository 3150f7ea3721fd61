"""The rate of eyes with a sign, from the rate of all eyes, a published ratio and how many eyes have the sign.

A rate counted in all eyes holds those with the sign already: putting the ratio on it would count the sign twice. The rate
of eyes without the sign is solved first, then the ratio is put on that. For one sign and one series; ratios of several
signs overlap and are never multiplied.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from forestay.risk.bayes import logistic, logit
from forestay.risk.series import Rate


@dataclass(frozen=True, slots=True)
class Raised:
    """The rate of eyes with the sign, with low and high. ``whole``: both intervals were published and are in it."""

    value: float
    low: float
    high: float
    whole: bool


def with_sign(rate: float, *, ratio: float, share: float, of_odds: bool) -> float:
    """The rate of eyes with a sign [share of eyes].

    ``rate`` of all eyes [0 to 1], ``ratio`` of the sign against its absence [above 0], ``share`` of the eyes with the sign
    [0 to 1; 0: the rate was counted in eyes without it]. ``of_odds``: a ratio of odds, else of rates (capped at 1).

    >>> round(with_sign(0.1, ratio=3.0, share=0.0, of_odds=True), 4), with_sign(0.1, ratio=3.0, share=0.0, of_odds=False)
    (0.25, 0.30000000000000004)
    """
    more = ratio - 1.0
    if not of_odds:
        return min(1.0, ratio * rate / (1.0 + share * more))
    first, middle = (1.0 - share) * more, 1.0 + share * more - rate * more
    without = 2.0 * rate / (middle + math.sqrt(middle * middle + 4.0 * first * rate))
    return ratio * without / (1.0 + more * without)


def raised(rate: Rate, ratio: Rate, *, share: float, of_odds: bool) -> Raised:
    """The rate of eyes with the sign with its interval: half widths of rate and ratio as roots of squares, in log odds."""
    centre = with_sign(rate.value, ratio=ratio.value, share=share, of_odds=of_odds)

    def end(rate_end: float, ratio_end: float) -> float:
        by_rate = logit(with_sign(rate_end, ratio=ratio.value, share=share, of_odds=of_odds)) - logit(centre)
        by_ratio = logit(with_sign(rate.value, ratio=ratio_end, share=share, of_odds=of_odds)) - logit(centre)
        return math.copysign(math.hypot(by_rate, by_ratio), by_rate + by_ratio)

    low, high = (
        float(logistic(logit(centre) + end(*ends))) for ends in ((rate.low, ratio.low), (rate.high, ratio.high))
    )
    known = rate.interval is not None and ratio.interval is not None
    return Raised(centre, min(low, centre), max(high, centre), known)
