"""Scores of predictions by hand and against statsmodels; recovered where the truth is known."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import brentq

from forestay.statistics import calibration as engine

ROWS = [4, 9, 19, 27, 39, 46, 68, 69, 88, 99, 108, 119, 129, 137, 149, 159, 167, 179, 189, 199]


def test_four_cases_by_hand() -> None:
    # (0.01 + 0.04 + 0.49 + 0.04) / 4; 1 - 0.145 / 0.25; z by its formula.
    found = engine.calibration(predicted=[0.1, 0.2, 0.3, 0.8], observed=[0, 0, 1, 1])
    assert (found.brier, found.scaled_brier) == pytest.approx((0.145, 0.42))
    assert found.spiegelhalter_z == pytest.approx(-0.088045, abs=1e-6)


def test_two_hundred_cases_worked_apart() -> None:
    p = np.tile([0.01, 0.02, 0.02, 0.03, 0.05, 0.05, 0.08, 0.10, 0.15, 0.20], 20)
    y = np.zeros(200)
    y[ROWS] = 1
    found = engine.calibration(predicted=p, observed=y)
    assert (found.events, found.expected, found.ratio) == pytest.approx((20, 14.2, 1.408451), abs=1e-6)
    log_odds = np.log(p / (1 - p))
    by_root = brentq(lambda shift: np.sum(1 / (1 + np.exp(-log_odds - shift))) - 20, -3, 3, xtol=1e-13)
    assert found.intercept == pytest.approx(by_root, abs=1e-9)
    assert (found.slope, found.slope_intercept) == pytest.approx((2.726450, 3.835565), abs=1e-4)
    assert found.brier == pytest.approx(0.07577, abs=1e-6)
    # Calibration in the large means: shifted by it, the expected number is the observed one.
    odds = p / (1 - p) * np.exp(found.intercept or 0)
    assert np.sum(odds / (1 + odds)) == pytest.approx(20, abs=1e-6)
    logit = sm.Logit(y, sm.add_constant(np.log(p / (1 - p)))).fit(disp=0)
    assert (found.slope_intercept, found.slope) == pytest.approx(tuple(logit.params), abs=1e-5)


def test_a_known_distortion_is_recovered() -> None:
    generator = np.random.default_rng(230)
    p = generator.uniform(0.02, 0.6, 60_000)
    log_odds = 0.3 + 0.8 * np.log(p / (1 - p))
    y = generator.random(p.size) < 1 / (1 + np.exp(-log_odds))
    found = engine.calibration(predicted=p, observed=y)
    assert found.slope == pytest.approx(0.8, abs=0.03)
    assert found.slope_intercept == pytest.approx(0.3, abs=0.05)


def test_well_made_predictions_pass() -> None:
    generator = np.random.default_rng(421)
    p = generator.uniform(0.02, 0.6, 40_000)
    found = engine.calibration(predicted=p, observed=generator.random(p.size) < p)
    assert abs(found.spiegelhalter_z) < 3
    assert found.ratio == pytest.approx(1, abs=0.03)
    assert found.slope == pytest.approx(1, abs=0.05)
    points = engine.curve(predicted=p, observed=generator.random(p.size) < p, groups=10)
    assert points.n.sum() == p.size
    assert points.observed == pytest.approx(points.predicted, abs=0.03)


def test_a_set_that_cannot_say_says_nothing() -> None:
    clean = engine.calibration(predicted=[0.1, 0.2], observed=[0, 0])
    assert (clean.intercept, clean.slope, clean.scaled_brier) == (None, None, None)
    assert clean.ratio == 0
    apart = engine.calibration(predicted=[0.1, 0.2, 0.8, 0.9], observed=[0, 0, 1, 1])
    assert apart.slope is None
    assert apart.intercept is not None
    alike = engine.calibration(predicted=[0.1, 0.1, 0.1], observed=[0, 0, 1])
    assert alike.slope is None


def test_coverage_counts_ends_as_inside() -> None:
    assert engine.interval_coverage(low=[0, 0, 0], high=[1, 1, 1], observed=[0, 1, 2]) == pytest.approx(2 / 3)
