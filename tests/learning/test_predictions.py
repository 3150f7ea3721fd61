"""Scores of told probabilities and told intervals: by hand, against libraries, and where the truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from forestay.learning.predictions import Chance, ChanceScore, Span, SpanScore, score_chances, score_spans


def chances(p: list[float], y: list[bool | None]) -> list[Chance]:
    return [Chance("rupture", said, came) for said, came in zip(p, y, strict=True)]


def scored(p: list[float], y: list[bool | None], curve_events: float = 200) -> ChanceScore:
    found = score_chances(chances(p, y), curve_events=curve_events, groups=10, level=0.95)
    assert found is not None
    return found


def spans(came: list[float | None], half: float = 1.0, level: float = 0.9) -> list[Span]:
    return [Span("refraction", "D", 0.0, -half, half, level, value) for value in came]


def covered(came: list[float | None], half: float = 1.0, level: float = 0.9) -> SpanScore:
    found = score_spans(spans(came, half, level), level=0.95)
    assert found is not None
    return found


def test_four_cases_by_hand_and_one_that_waits() -> None:
    # Brier 1950: ((0.1)^2 + (0.2)^2 + (0.7)^2 + (0.2)^2) / 4 = 0.145; scaled 1 - 0.145 / 0.25.
    found = scored([0.1, 0.2, 0.3, 0.8, 0.9], [False, False, True, True, None])
    assert (found.n, found.waiting, found.events) == (4, 1, 2)
    assert (found.brier, found.scaled_brier) == pytest.approx((0.145, 0.42))
    assert found.expected == pytest.approx(1.4)
    assert (found.slope, found.predicted_points, found.enough) == (None, (), False)


def test_nothing_is_said_while_no_truth_is_known() -> None:
    assert score_chances(chances([0.1], [None]), curve_events=1, groups=10, level=0.95) is None
    assert score_spans(spans([None]), level=0.95) is None
    assert score_chances([], curve_events=1, groups=10, level=0.95) is None


def test_the_ratio_has_the_exact_poisson_interval() -> None:
    # Garwood 1936, as tabulated: 10 events, 95 %: 4.795 to 18.391; 0 events: 0 to 3.689.
    found = scored([0.5] * 20, [True] * 10 + [False] * 10)
    assert (found.ratio_low, found.ratio_high) == pytest.approx((0.4795, 1.8391), abs=1e-4)
    none = scored([0.05] * 20, [False] * 20)
    assert (none.ratio, none.ratio_low, none.ratio_high) == pytest.approx((0, 0, 3.689), abs=1e-3)
    low, high = stats.chi2.ppf(0.025, 20) / 2, stats.chi2.ppf(0.975, 22) / 2
    assert (found.ratio_low, found.ratio_high) == pytest.approx((low / 10, high / 10))


def test_a_known_distortion_is_found_where_there_are_events_enough() -> None:
    generator = np.random.default_rng(78)
    p = generator.uniform(0.02, 0.5, 20_000)
    true = 1 / (1 + np.exp(-(0.2 + 0.7 * np.log(p / (1 - p)))))
    found = scored(p.tolist(), (generator.random(p.size) < true).tolist())
    assert found.enough
    assert found.slope == pytest.approx(0.7, abs=0.06)
    assert sum(found.sizes) == 20_000
    truth = np.interp(found.predicted_points, np.sort(p), np.sort(true))
    # Each of the ten points rests on 2,000 cases: four standard errors of a share, at most.
    assert found.observed_points == pytest.approx(truth, abs=4 * (0.25 / 2000) ** 0.5)


def test_certain_predictions_do_not_break_the_logarithm() -> None:
    found = scored([0.0, 1.0, 0.5], [False, True, False])
    assert found.brier == pytest.approx(0.25 / 3, abs=1e-6)


def test_intervals_by_hand() -> None:
    # Width 2, two of four outside by 0.5 and 0.2: 2 + (2 / 0.1) (0.5 + 0.2) / 4 (Gneiting and Raftery 2007, section 6.2).
    found = covered([0.0, 1.0, 1.5, -1.2, None])
    assert (found.n, found.waiting, found.inside, found.below, found.above) == (4, 1, 2, 1, 1)
    assert found.interval_score == pytest.approx(2 + 20 * 0.7 / 4, abs=1e-6)
    assert found.mean_error == pytest.approx(1.3 / 4)
    assert found.coverage_low == pytest.approx(stats.beta(2, 3).ppf(0.025))


def test_nominal_intervals_are_called_as_told_and_narrow_or_wide_ones_are_not() -> None:
    came = np.random.default_rng(90).normal(0, 1, 4000).tolist()
    right = float(stats.norm.ppf(0.95))
    assert covered(came, right).verdict == "as-told"
    assert covered(came, right).coverage == pytest.approx(0.9, abs=3 * (0.09 / 4000) ** 0.5)
    assert covered(came, 0.8 * right).verdict == "too-narrow"
    assert covered(came, 1.3 * right).verdict == "too-wide"
    # A proper score: the right width has the least of the three.
    assert covered(came, right).interval_score < min(
        covered(came, 0.7 * right).interval_score, covered(came, 1.4 * right).interval_score
    )


def test_intervals_of_unequal_level_are_not_pooled() -> None:
    with pytest.raises(ValueError, match="unequal level"):
        score_spans([*spans([0.0], level=0.9), *spans([0.0], level=0.95)], level=0.95)


@given(came=st.lists(st.floats(-3, 3), min_size=1, max_size=40))
def test_every_value_is_below_inside_or_above(came: list[float]) -> None:
    found = covered(list(came))
    assert found.below + found.inside + found.above == found.n == len(came)
    assert found.coverage_low <= found.coverage <= found.coverage_high
    assert found.interval_score >= found.width
