"""How well the zonule holds, estimated from signs: grades, and the share of healthy support by clock hour.

Three kinds of evidence are kept apart. *Base rates* say how often each grade is met. *Signs* move the odds of weakness
by likelihood ratios. *Seen facts* set floors: a gap is a gap, and a lens that moves is weak, whatever the rates say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.frame import HOURS
from forestay.risk.bayes import Sign, Weighted, product, update, weigh
from forestay.risk.normal import normal_cdf, normal_nodes

Grade = Literal["normal", "weak", "very-weak", "extremely-weak"]
GRADES: tuple[Grade, ...] = get_args(Grade)
"""From sound to weakest, as found when the capsule is first opened."""

TURN = len(HOURS)
HALF_TURN = TURN / 2

BAND_STEPS = 8
"""Points across the band of a grade in the mean and spread."""
HOUR_STEPS = 11
"""Points across the unevenness of one hour in the mean and spread."""
TOLERANCE_DIGITS = 9
"""Digits to which the covered part of a clock hour is rounded, so that both eyes give the same number."""


@dataclass(frozen=True)
class ZonuleConstants:
    """What is published and assumed about grades and signs.

    ``grade_counts`` [eyes, in the order of :data:`GRADES`], ``ratio_cap`` [-], ``later_weight`` [exponent],
    ``total_low``/``total_high`` [probability], ``pseudoexfoliation_share`` [factor on the support all round].
    """

    PREFIX: ClassVar[str] = "zonule_signs"
    grade_counts: tuple[float, ...]
    ratio_cap: float
    later_weight: float
    total_low: float
    total_high: float
    pseudoexfoliation_share: float

    @property
    def weak_share(self) -> float:
        """Share of unselected eyes whose zonule is not normal."""
        return sum(self.grade_counts[1:]) / sum(self.grade_counts)


@dataclass(frozen=True)
class Bands:
    """Share of healthy support that each grade means: lowest and highest of an even band, in the order of GRADES."""

    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class ZonularEstimate:
    """The zonule of one eye as far as known.

    ``probabilities`` by grade; ``mean`` and ``sd`` of the share of healthy support by clock hour 12, 1, … 11; ``held``:
    the part of each hour that no seen gap covers; ``weighted``: how each sign entered.
    """

    probabilities: tuple[float, ...]
    elsewhere: tuple[float, ...]
    """Probability of each grade away from a seen gap: what a gap alone says of its own hours, it does not say of these."""
    bands: Bands
    all_round: float
    irregularity: float
    weak_range: tuple[float, float]
    """Probability that the zonule is not normal with every ratio at the lower, and at the upper end of its range."""
    held: tuple[float, ...]
    mean: tuple[float, ...]
    sd: tuple[float, ...]
    weighted: tuple[Weighted, ...]


def held_by_hour(gap_hours: Sequence[float]) -> tuple[float, ...]:
    """The part of each clock hour (12, 1, … 11) that is not covered by a gap; a gap at h covers h - 0.5 to h + 0.5.

    Parameters: ``gap_hours`` [clock hours]. Result [share 0-1], exactly 0 where a whole hour is gone.

    >>> held_by_hour([6, 6.5])[5:9]
    (1.0, 0.0, 0.5, 1.0)
    """
    held = []
    for hour in HOURS:
        offsets = sorted((gap - hour + HALF_TURN) % TURN - HALF_TURN for gap in gap_hours)
        covered, reached = 0.0, -0.5
        for offset in offsets:
            start, end = max(offset - 0.5, reached), min(offset + 0.5, 0.5)
            if end > start:
                covered += end - start
                reached = end
        held.append(round(1 - covered, TOLERANCE_DIGITS))
    return tuple(held)


def grade_probabilities(
    *,
    weak: float,
    floor: Grade,
    constants: ZonuleConstants,
    within: Sequence[float] | None = None,
    ceiling: Grade = GRADES[-1],
) -> tuple[float, ...]:
    """Probability of each grade: normal against weak from the signs, the weak ones in their published proportions.

    Parameters: ``weak`` [probability that the zonule is not normal], ``floor`` [mildest grade that a seen fact allows],
    ``within`` [relative likelihood of each grade in the order of GRADES: shifts the proportions among the weak ones],
    ``ceiling`` [worst grade that a seen fact allows]. Result [probabilities in the order of GRADES, sum 1]: exactly 0
    outside floor and ceiling.
    """
    counts = [c * w for c, w in zip(constants.grade_counts, within or (1.0,) * len(GRADES), strict=True)]
    whole = sum(counts[1:])
    free = (1 - weak, *(weak * count / whole for count in counts[1:]))
    lowest, highest = GRADES.index(floor), GRADES.index(ceiling)
    kept = [p if lowest <= index <= highest else 0.0 for index, p in enumerate(free)]
    if lowest:  # a floor takes the normal grade away: what is left stands in the proportions of the weak ones
        kept = [c if max(lowest, 1) <= index <= highest else 0.0 for index, c in enumerate(counts)]
    total = sum(kept)
    return tuple(p / total for p in kept)


def weak_probability(signs: Sequence[Sign], constants: ZonuleConstants) -> tuple[float, tuple[Weighted, ...]]:
    """Probability that the zonule is not normal, by the signs alone, and how each sign entered.

    Odds = base odds x product of LR^w, w = 1 for the strongest sign of a group and ``later_weight`` for the others;
    the total stays within ``total_low`` and ``total_high``.
    """
    weighted = weigh(signs, cap=constants.ratio_cap, later_weight=constants.later_weight)
    weak = float(update(constants.weak_share, product(weighted)))
    return min(max(weak, constants.total_low), constants.total_high), weighted


@dataclass(frozen=True)
class SeenFacts:
    """What was seen and bounds the grade: mildest grade of the eye and of its sound hours, worst grade, gaps.

    ``floor_elsewhere``: of the hours that no gap covers; a gap alone does not weaken them. ``within``: relative
    likelihood of each grade from a measurement at surgery.
    """

    floor: Grade
    floor_elsewhere: Grade
    gap_hours: tuple[float, ...]
    pseudoexfoliation: bool
    ceiling: Grade = GRADES[-1]
    within: tuple[float, ...] | None = None


def estimate(
    *,
    signs: Sequence[Sign],
    seen: SeenFacts,
    bands: Bands,
    irregularity: float,
    constants: ZonuleConstants,
    signs_low: Sequence[Sign] = (),
    signs_high: Sequence[Sign] = (),
) -> ZonularEstimate:
    """The zonule of one eye from signs, seen facts and gaps.

    :func:`weak_probability` gives the odds of weakness; ``seen`` bounds the grades. Parameters: ``signs`` [likelihood
    ratios], ``signs_low``/``signs_high`` [the same at the ends of their ranges], ``bands`` [share of healthy support],
    ``irregularity`` [SD of one hour, as a share of what the support lacks]. Result: shares [0-1]. Studied on
    unselected eyes and on eyes with pseudoexfoliation; what a grade means as support is assumed. Adding a sign of
    weakness never raises the mean support.
    """
    weak, weighted = weak_probability(signs, constants)
    ends = [weak_probability(some or signs, constants)[0] for some in (signs_low, signs_high)]

    def grades(at: float, floor: Grade) -> tuple[float, ...]:
        ceiling = GRADES[max(GRADES.index(seen.ceiling), GRADES.index(floor))]
        return grade_probabilities(weak=at, floor=floor, constants=constants, within=seen.within, ceiling=ceiling)

    elsewhere = grades(weak, seen.floor_elsewhere)
    all_round = constants.pseudoexfoliation_share if seen.pseudoexfoliation else 1.0
    held = held_by_hour(seen.gap_hours)
    mean, sd = _moments(elsewhere, bands, all_round, irregularity)
    return ZonularEstimate(
        probabilities=grades(weak, seen.floor),
        elsewhere=elsewhere,
        bands=bands,
        all_round=all_round,
        irregularity=irregularity,
        weak_range=(1 - grades(min(*ends, weak), seen.floor)[0], 1 - grades(max(*ends, weak), seen.floor)[0]),
        held=held,
        mean=tuple(mean * part for part in held),
        sd=tuple(sd * part for part in held),
        weighted=weighted,
    )


def support_draws(found: ZonularEstimate, *, level_z: ArrayLike, hour_z: ArrayLike) -> NDArray[np.float64]:
    """Share of healthy support by clock hour for each draw.

    Parameters: ``level_z`` [standard normal, shape (n,)]: the eye as a whole, low is weak; ``hour_z`` [standard
    normal, shape (12, n)]: unevenness of each hour, 12, 1, … 11. Result [share 0-1, shape (12, n)], exactly 0 at a
    seen gap. Rises with ``level_z`` wherever ``irregularity * |hour_z| < 1``.
    """
    level = _level(np.asarray(normal_cdf(np.asarray(level_z, dtype=float))), found)
    held = np.asarray(found.held)[:, np.newaxis]
    return np.asarray(_uneven(level, np.asarray(hour_z, dtype=float), found.irregularity) * held)


def _level(share_below: NDArray[np.float64], found: ZonularEstimate) -> NDArray[np.float64]:
    """Quantile of the whole zonule's support: the grades' bands laid end to end, weakest first."""
    weakest_first = slice(None, None, -1)
    probabilities = np.asarray(found.elsewhere)[weakest_first]
    low = np.asarray(found.bands.low)[weakest_first]
    high = np.asarray(found.bands.high)[weakest_first]
    upto = np.cumsum(probabilities)
    present = np.flatnonzero(probabilities > 0)
    at = np.clip(np.searchsorted(upto, share_below, side="right"), present[0], present[-1])
    within = np.clip((share_below - (upto[at] - probabilities[at])) / probabilities[at], 0, 1)
    return np.asarray((low[at] + within * (high[at] - low[at])) * found.all_round)


def _uneven(level: NDArray[np.float64], hour_z: NDArray[np.float64], irregularity: float) -> NDArray[np.float64]:
    return np.clip(level + irregularity * (1 - level) * hour_z, 0, 1)


def _moments(
    probabilities: Sequence[float], bands: Bands, all_round: float, irregularity: float
) -> tuple[float, float]:
    """Mean and standard deviation of one hour's share, over grade, band and unevenness."""
    across = (np.arange(BAND_STEPS) + 0.5) / BAND_STEPS
    low, high = np.asarray(bands.low)[:, np.newaxis], np.asarray(bands.high)[:, np.newaxis]
    level = (low + across * (high - low))[:, :, np.newaxis] * all_round
    share = _uneven(level, normal_nodes(HOUR_STEPS), irregularity)
    weight = np.asarray(probabilities)[:, np.newaxis, np.newaxis] / (BAND_STEPS * HOUR_STEPS)
    mean = float(np.sum(weight * share))
    return mean, float(np.sqrt(np.sum(weight * (share - mean) ** 2)))
