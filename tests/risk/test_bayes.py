"""Likelihood ratios against published counts and the worked table of the evidence."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from scipy.stats.contingency import relative_risk

from forestay.risk import bayes
from forestay.risk.bayes import Sign

quick = settings(deadline=None, derandomize=True)


def test_ratios_of_a_high_risk_sign() -> None:
    # Shingleton 2010: 19 of 122 with, 19 of 937 without; worked from them: 4.96, 0.556, odds ratio 8.91
    found = bayes.ratios_from_table(events_with=19, eyes_with=122, events_without=19, eyes_without=937)
    assert found.positive == pytest.approx(4.96, abs=0.005)
    assert found.negative == pytest.approx(0.556, abs=0.0005)
    assert found.odds_ratio == pytest.approx(8.91, abs=0.01)


def test_ratios_of_a_shallow_chamber() -> None:
    # Kuchle 2000: 9 of 12 complicated and 58 of 162 uncomplicated eyes under 2.5 mm; 2.09, 0.39, 5.38
    found = bayes.ratios_from_table(events_with=9, eyes_with=67, events_without=3, eyes_without=107)
    assert found.positive == pytest.approx(2.09, abs=0.01)
    assert found.negative == pytest.approx(0.39, abs=0.005)
    assert found.odds_ratio == pytest.approx(5.38, abs=0.01)


@pytest.mark.parametrize(
    ("counts", "positive", "negative", "odds"),
    [
        # Shingleton 2010 and Kuchle 2000, worked from their counts: LR+, LR- and odds ratio, each with its 95 % interval
        ((19, 122, 19, 937), "4.96 3.43 7.15", "0.556 0.40 0.76", "8.91 4.57 17.4"),
        ((9, 67, 3, 107), "2.09 1.42 3.08", "0.39 0.15 1.04", "5.38 1.40 20.7"),
    ],
)
def test_intervals_of_the_ratios(counts: tuple[int, ...], positive: str, negative: str, odds: str) -> None:
    given = dict(zip(("events_with", "eyes_with", "events_without", "eyes_without"), counts, strict=True))
    found = bayes.ratio_intervals(**given, level=0.95)
    for values, printed in (
        (found.positive, positive),
        (found.negative, negative),
        (bayes.odds_ratio_interval(**given, level=0.95), odds),
    ):
        for value, text in zip(values, printed.split(), strict=True):
            assert f"{value:.{len(text.partition('.')[2])}f}" == text
    # the same interval by scipy: a likelihood ratio is the relative risk of having the sign, events against others
    events, others = counts[0] + counts[2], counts[1] + counts[3] - counts[0] - counts[2]
    low, high = relative_risk(counts[0], events, counts[1] - counts[0], others).confidence_interval(0.95)
    assert found.positive[1:] == pytest.approx((low, high))


@pytest.mark.parametrize(
    ("prior", "ratio", "after", "tolerance"),
    [
        # worked table of the evidence, from rates of Shingleton 2010 and Yaguchi 2015
        (0.036, 20.2, 0.430, 0.002),
        (0.0359, 4.96, 0.156, 0.0005),
        (0.0359, 0.556, 0.020, 0.0005),
        (0.064, 20.2, 0.580, 0.001),
        (0.064, 4.96, 0.253, 0.001),
        (0.064, 2.09, 0.125, 0.001),
        (0.064, 0.39, 0.026, 0.001),
    ],
)
def test_a_ratio_moves_a_probability(prior: float, ratio: float, after: float, tolerance: float) -> None:
    assert bayes.update(prior, ratio) == pytest.approx(after, abs=tolerance)


@pytest.mark.parametrize(
    ("depth_mm", "ratio"),
    [
        (1.8, 2.69),
        (2.0, 2.33),
        (2.2, 1.90),
        (2.4, 1.46),
        (2.5, 1.25),
        (2.6, 1.06),
        (2.8, 0.72),
        (3.0, 0.46),
        (3.2, 0.28),
    ],
)
def test_the_ratio_of_a_chamber_depth(depth_mm: float, ratio: float) -> None:
    # two normal curves of Kuchle 2000, 2.36 +/- 0.44 and 2.74 +/- 0.52 mm; table worked in the evidence
    found = bayes.normal_ratio(depth_mm, mean_with=2.36, sd_with=0.44, mean_without=2.74, sd_without=0.52)
    assert found == pytest.approx(ratio, abs=0.005)
    reference = norm.pdf(depth_mm, 2.36, 0.44) / norm.pdf(depth_mm, 2.74, 0.52)
    assert found == pytest.approx(reference, rel=1e-12)


def test_the_ratio_of_lens_travel() -> None:
    # Yaguchi 2016, pig: 1.01 +/- 0.22 mm (half cut) against 0.44 +/- 0.13 mm; 0.6 mm gives 0.22
    found = bayes.normal_ratio(0.6, mean_with=1.01, sd_with=0.22, mean_without=0.44, sd_without=0.13)
    assert found == pytest.approx(0.22, abs=0.005)


TRAVEL = {"means": (0.44, 0.68, 1.01, 1.32), "sds": (0.13, 0.27, 0.22, 0.35)}


@pytest.mark.parametrize(
    ("travel_mm", "quarter", "half"),
    # worked in the evidence from Yaguchi 2016, to a unit of the last digit that its table prints (3.55 stands as 3.6)
    [(0.4, "0.29", "0.01"), (0.6, "0.98", "0.22"), (0.7, "3.6", "1.6"), (0.8, "20", "17")],
)
def test_the_table_of_lens_travel(travel_mm: float, quarter: str, half: str) -> None:
    found = [math.exp(r) for r in bayes.ordered_log_ratios(travel_mm, **TRAVEL)]
    assert found[0] == 1
    for value, printed in ((found[1], quarter), (found[2], half)):
        digits = len(printed.partition(".")[2])
        assert value == pytest.approx(float(printed), abs=10**-digits)
    reference = [norm.pdf(travel_mm, m, s) for m, s in zip(TRAVEL["means"], TRAVEL["sds"], strict=True)]
    assert found[1:3] == pytest.approx([reference[1] / reference[0], reference[2] / reference[0]], rel=1e-9)


@quick
@given(travel_mm=st.floats(0, 4), more=st.floats(0, 1))
def test_a_longer_travel_never_speaks_for_a_lower_group(travel_mm: float, more: float) -> None:
    before = bayes.ordered_log_ratios(travel_mm, **TRAVEL)
    after = bayes.ordered_log_ratios(travel_mm + more, **TRAVEL)
    steps = [np.diff(found) for found in (before, after)]
    assert np.all(steps[0] <= steps[1] + 1e-9)


def test_an_array_of_measurements_gives_an_array() -> None:
    found = bayes.normal_ratio(np.array([2.0, 3.0]), mean_with=2.36, sd_with=0.44, mean_without=2.74, sd_without=0.52)
    assert found.shape == (2,)


@pytest.mark.parametrize(
    ("low", "high", "error"),
    # Sim 2024, intervals of the abstract; errors worked in the evidence
    [(3.33, 4.24, 0.0616), (3.05, 3.94, 0.0653), (2.23, 4.16, 0.1591), (2.24, 2.60, 0.0380)],
)
def test_the_error_behind_an_interval(low: float, high: float, error: float) -> None:
    assert bayes.log_error_from_interval(low=low, high=high, level=0.95) == pytest.approx(error, abs=0.0001)


def test_the_strongest_of_a_group_counts_fully_and_ratios_are_capped() -> None:
    signs = [Sign("a", "history", 3.0), Sign("b", "history", 71.6), Sign("c", "lens", 0.01)]
    found = bayes.weigh(signs, cap=20, later_weight=0.5)
    assert [(w.likelihood_ratio, w.weight) for w in found] == [(3.0, 0.5), (20.0, 1.0), (0.05, 1.0)]
    assert bayes.product(found) == pytest.approx(math.sqrt(3) * 20 * 0.05)


ratios = st.floats(0.05, 20)
some_signs = st.lists(st.tuples(st.sampled_from(["a", "b"]), ratios), max_size=6).map(
    lambda items: [Sign(f"s{i}", group, ratio) for i, (group, ratio) in enumerate(items)]
)


@quick
@given(signs=some_signs, group=st.sampled_from(["a", "b"]), ratio=st.floats(1, 50))
def test_a_further_sign_of_weakness_never_lowers_the_product(signs: list[Sign], group: str, ratio: float) -> None:
    before = bayes.product(bayes.weigh(signs, cap=20, later_weight=0.5))
    after = bayes.product(bayes.weigh([*signs, Sign("new", group, ratio)], cap=20, later_weight=0.5))
    assert after >= before * (1 - 1e-12)


@quick
@given(p=st.floats(0.001, 0.999))
def test_odds_and_logits_come_back(p: float) -> None:
    assert bayes.probability(bayes.odds(p)) == pytest.approx(p, rel=1e-12)
    assert bayes.logistic(bayes.logit(p)) == pytest.approx(p, rel=1e-12)
    assert bayes.update(0.3, bayes.ratio_between(0.3, p)) == pytest.approx(p, rel=1e-9)
