"""Cases between rare events, and a trainee's sums."""

from __future__ import annotations

import math

import numpy as np
import pytest

from forestay.statistics import learning_curve, rare


@pytest.mark.parametrize(
    ("rate", "mean", "upper", "quantiles"),
    [(0.01, 99, 397.496, (0, 68, 657)), (0.0195, 50.2821, 202.621, (0, 35, 335))],
)
def test_gaps_at_a_steady_rate(rate: float, mean: float, upper: float, quantiles: tuple[float, ...]) -> None:
    # Mean and limit by the formulas of Benneyan 2001; quantiles of the geometric distribution by hand:
    # the smallest g with 1 - (1 - p)^(g + 1) >= q.
    found = rare.between(rate=rate, tail=0.00135)
    assert (found.mean, found.upper) == pytest.approx((mean, upper), rel=1e-5)
    assert (found.low, found.median, found.high) == quantiles
    for q, gap in zip((0.5, 1 - 0.00135), quantiles[1:], strict=True):
        assert gap == math.ceil(math.log(1 - q) / math.log(1 - rate)) - 1


def test_gaps_count_what_lies_between() -> None:
    generator = np.random.default_rng(305)
    y = generator.random(60_000) < 0.02
    found = rare.gaps(y)
    assert found.size == y.sum()
    assert found.sum() + found.size <= y.size
    assert found.mean() == pytest.approx(rare.between(rate=0.02, tail=0.01).mean, rel=0.06)
    assert rare.gaps([0, 0]).size == 0


def test_wald_test_between_five_and_ten_per_cent() -> None:
    # By hand from Wald's formulas: P = ln 2, Q = ln(0.95 / 0.90), s = Q / (P + Q), h = ln 9 / (P + Q).
    total = math.log(2) + math.log(0.95 / 0.90)
    found = learning_curve.sequential(acceptable=0.05, unacceptable=0.10, false_alarm=0.1, false_pass=0.1)
    assert found.success_step == pytest.approx(math.log(0.95 / 0.90) / total)
    assert found.accept == found.reject == pytest.approx(math.log(9) / total)
    assert (found.success_step, found.accept) == pytest.approx((0.072358, 2.940554), abs=1e-6)
    assert found.clean_cases == 41


def test_the_test_errs_about_as_often_as_it_promises() -> None:
    generator = np.random.default_rng(1947)
    test = learning_curve.sequential(acceptable=0.05, unacceptable=0.10, false_alarm=0.1, false_pass=0.1)
    for rate, wrong in ((0.05, "reject"), (0.10, "accept")):
        failed = 0
        for _ in range(600):
            path = learning_curve.sequential_path(generator.random(3000) < rate, test=test)
            up, down = np.flatnonzero(path >= test.reject), np.flatnonzero(path <= -test.accept)
            first = "reject" if up.size and (not down.size or up[0] < down[0]) else "accept"
            failed += first == wrong
        assert failed / 600 < 0.1 + 3 * math.sqrt(0.1 * 0.9 / 600)  # Wald's bounds are conservative


def test_competence_falls_with_failure_and_rises_with_success() -> None:
    # ln(0.05 / 0.10) and ln(0.95 / 0.90), by hand.
    found = learning_curve.competence([0] * 40, acceptable=0.05, unacceptable=0.10, limit=2)
    assert np.diff(found.path) == pytest.approx(np.full(39, 0.054067), abs=1e-6)
    assert found.reached == math.ceil(2 / 0.0540672) - 1
    worse = learning_curve.competence([*[0] * 20, 1, *[0] * 19], acceptable=0.05, unacceptable=0.10, limit=2)
    assert worse.path[20] - worse.path[19] == pytest.approx(-0.693147, abs=1e-6)
    assert worse.reached is None
