"""Odds, likelihood ratios and how they combine: the arithmetic of evidence, without a clinical number in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from forestay.risk.normal import central, normal_quantile


def odds(probability: ArrayLike) -> Any:
    """p / (1 - p).

    >>> odds(0.5)
    1.0
    """
    p = np.asarray(probability, dtype=float)
    return _plain(p / (1 - p))


def probability(odds_value: ArrayLike) -> Any:
    """odds / (1 + odds).

    >>> probability(1.0)
    0.5
    """
    o = np.asarray(odds_value, dtype=float)
    return _plain(o / (1 + o))


def logit(p: ArrayLike) -> Any:
    """ln(p / (1 - p))."""
    return _plain(np.log(odds(p)))


def logistic(log_odds: ArrayLike) -> Any:
    """1 / (1 + exp(-x)), the inverse of :func:`logit`."""
    return _plain(1 / (1 + np.exp(-np.asarray(log_odds, dtype=float))))


def update(prior: ArrayLike, likelihood_ratio: ArrayLike) -> Any:
    """Probability after evidence: posterior odds = prior odds x likelihood ratio.

    Parameters: ``prior`` [probability, 0 < p < 1], ``likelihood_ratio`` [> 0]. Result [probability].

    >>> round(update(0.036, 20.2), 3)
    0.43
    """
    return probability(odds(prior) * np.asarray(likelihood_ratio, dtype=float))


def ratio_between(before: float, after: float) -> float:
    """The likelihood ratio that leads from one probability to another.

    >>> round(ratio_between(0.5, 0.75), 6)
    3.0
    """
    return float(odds(after) / odds(before))


@dataclass(frozen=True, slots=True)
class TableRatios:
    """Likelihood ratios and odds ratio of a two-by-two table, with the shares that they come from."""

    positive: float
    negative: float
    odds_ratio: float
    sensitivity: float
    """Share of the events that had the sign."""
    specificity: float
    """Share of the others that did not have it."""


def ratios_from_table(*, events_with: int, eyes_with: int, events_without: int, eyes_without: int) -> TableRatios:
    """Ratios of a sign from counts: events and eyes with the sign, events and eyes without it.

    LR+ = sensitivity / (1 - specificity), LR- = (1 - sensitivity) / specificity, OR = LR+ / LR-.

    >>> ratios_from_table(events_with=19, eyes_with=122, events_without=19, eyes_without=937).positive.__round__(2)
    4.96
    """
    events = events_with + events_without
    others = eyes_with + eyes_without - events
    sensitivity = events_with / events
    false_positive = (eyes_with - events_with) / others
    positive = sensitivity / false_positive
    negative = (1 - sensitivity) / (1 - false_positive)
    return TableRatios(positive, negative, positive / negative, sensitivity, 1 - false_positive)


@dataclass(frozen=True, slots=True)
class RatioIntervals:
    """Likelihood ratios of a sign with their intervals: (ratio, low, high)."""

    positive: tuple[float, float, float]
    negative: tuple[float, float, float]


def ratio_intervals(
    *, events_with: int, eyes_with: int, events_without: int, eyes_without: int, level: float
) -> RatioIntervals:
    """Both likelihood ratios from counts: ln LR +- z sqrt(1/a - 1/(a + c) + 1/b - 1/(b + d)), a and c the events with and
    without the sign, b and d the others; for LR- with c and d in the place of a and b. All four cells above 0.

    >>> found = ratio_intervals(events_with=19, eyes_with=122, events_without=19, eyes_without=937, level=0.95)
    >>> [round(v, 2) for v in found.positive]
    [4.96, 3.43, 7.15]
    """
    a, b = events_with, eyes_with - events_with
    c, d = events_without, eyes_without - events_without
    z = normal_quantile(central(level)[1])

    def one(event: int, other: int) -> tuple[float, float, float]:
        centre = math.log((event / (a + c)) / (other / (b + d)))
        half = z * math.sqrt(1 / event - 1 / (a + c) + 1 / other - 1 / (b + d))
        return math.exp(centre), math.exp(centre - half), math.exp(centre + half)

    return RatioIntervals(one(a, b), one(c, d))


def odds_ratio_interval(
    *, events_with: int, eyes_with: int, events_without: int, eyes_without: int, level: float
) -> tuple[float, float, float]:
    """Odds ratio of a sign from counts with its interval: ln OR +- z sqrt(1/a + 1/b + 1/c + 1/d).

    All four cells must be above 0. Result: (ratio, low, high).

    >>> [round(v, 2) for v in odds_ratio_interval(events_with=19, eyes_with=122, events_without=19, eyes_without=937,
    ...                                           level=0.95)]
    [8.91, 4.57, 17.38]
    """
    cells = (events_with, eyes_with - events_with, events_without, eyes_without - events_without)
    centre = math.log(cells[0] * cells[3] / (cells[1] * cells[2]))
    half = normal_quantile(central(level)[1]) * math.sqrt(sum(1 / cell for cell in cells))
    return math.exp(centre), math.exp(centre - half), math.exp(centre + half)


def normal_ratio(value: ArrayLike, *, mean_with: float, sd_with: float, mean_without: float, sd_without: float) -> Any:
    """Likelihood ratio of a measurement that is normal with one mean and spread in each of two groups.

    LR = (s0 / s1) exp(((x - m0) / s0)^2 / 2 - ((x - m1) / s1)^2 / 2). All in the unit of ``value``. Far outside the
    groups the ratio of two normal curves means nothing: the caller says between which values it may be used.

    >>> round(normal_ratio(2.0, mean_with=2.36, sd_with=0.44, mean_without=2.74, sd_without=0.52), 2)
    2.33
    """
    x = np.asarray(value, dtype=float)
    with_sign = (x - mean_with) / sd_with
    without = (x - mean_without) / sd_without
    return _plain(sd_without / sd_with * np.exp(0.5 * (without**2 - with_sign**2)))


def ordered_log_ratios(value: float, *, means: Sequence[float], sds: Sequence[float]) -> tuple[float, ...]:
    """ln of the likelihood of each of several ordered groups against the first, never falling as ``value`` rises.

    Each group is normal; neighbours are compared by :func:`normal_ratio`. Two normal curves of unlike spread cross a
    second time far out, where the ratio would turn round: there the value at the turning point counts, so that a larger
    value never speaks for a lower group. Parameters in the unit of ``value``; ``means`` rise. Result: ln ratios, the
    first 0.

    >>> [round(math.exp(r), 2) for r in ordered_log_ratios(0.6, means=(0.44, 0.68, 1.01), sds=(0.13, 0.27, 0.22))]
    [1.0, 0.98, 0.22]
    """
    found = [0.0]
    for (m0, s0), (m1, s1) in pairwise(zip(means, sds, strict=True)):
        at = value
        if s0 != s1:
            turn = (m0 / s0**2 - m1 / s1**2) / (1 / s0**2 - 1 / s1**2)
            at = max(value, turn) if s1 > s0 else min(value, turn)
        found.append(found[-1] + math.log(s0 / s1) + 0.5 * (((at - m0) / s0) ** 2 - ((at - m1) / s1) ** 2))
    return tuple(found)


def log_error_from_interval(*, low: float, high: float, level: float) -> float:
    """Standard error of ln(ratio) from its confidence interval: (ln high - ln low) / (2 z).

    >>> round(log_error_from_interval(low=3.05, high=3.94, level=0.95), 4)
    0.0653
    """
    return (math.log(high) - math.log(low)) / (2 * normal_quantile(0.5 * (1 + level)))


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign with its likelihood ratio, in a group of correlated signs."""

    name: str
    group: str
    likelihood_ratio: float


@dataclass(frozen=True, slots=True)
class Weighted:
    """A sign as it entered: ratio after the cap and its exponent."""

    sign: Sign
    likelihood_ratio: float
    weight: float


def weigh(signs: Sequence[Sign], *, cap: float, later_weight: float) -> tuple[Weighted, ...]:
    """Cap each ratio between 1/cap and cap; in a group the strongest counts fully, each later one with the exponent.

    "Strongest" is the largest distance from 1, up or down. Adding a sign with a ratio above 1 never lowers the product.
    """
    capped = [(s, min(max(s.likelihood_ratio, 1 / cap), cap)) for s in signs]
    strongest: dict[str, int] = {}
    for index, (sign, ratio) in enumerate(capped):
        held = strongest.get(sign.group)
        if held is None or abs(math.log(ratio)) > abs(math.log(capped[held][1])):
            strongest[sign.group] = index
    return tuple(
        Weighted(sign, ratio, 1.0 if strongest[sign.group] == index else later_weight)
        for index, (sign, ratio) in enumerate(capped)
    )


def product(weighted: Sequence[Weighted]) -> float:
    """The product of ratio^weight."""
    return math.exp(sum(w.weight * math.log(w.likelihood_ratio) for w in weighted))


def _plain(values: Any) -> Any:
    array = np.asarray(values, dtype=float)
    return float(array) if array.ndim == 0 else array
