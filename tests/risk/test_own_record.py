"""One's own record: the worked table of the evidence, the reference library, shrinkage that never overshoots."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import minimize

from forestay.evidence import default_evidence
from forestay.risk import own_record as engine
from forestay.risk.bayes import logistic, logit

quick = settings(deadline=None, derandomize=True, max_examples=40)
CONSTANTS = default_evidence().reader().constants(engine.OwnRecordConstants)


@pytest.mark.parametrize(
    ("events", "expected", "printed"),
    [
        # B1 to B4 of the evidence, spread 0.5: mean (95 % interval)
        (7, 4.2, ("1.363", "0.67", "2.30")),
        (0, 4.2, ("0.456", "0.11", "1.04")),
        (0, 1.0, ("0.779", "0.19", "1.78")),
        (2, 10.0, ("0.408", "0.14", "0.81")),
    ],
)
def test_the_worked_table_of_the_factor(events: int, expected: float, printed: tuple[str, str, str]) -> None:
    found = engine.surgeon_factor(events=events, expected=expected, surgeon_sd=0.5, level=0.95)
    assert (f"{found.mean:.3f}", f"{found.low:.2f}", f"{found.high:.2f}") == printed


def test_the_chance_of_being_above_the_model() -> None:
    # B1: P(factor > 1) 0.80
    found = engine.surgeon_factor(events=7, expected=4.2, surgeon_sd=0.5, level=0.95)
    assert found.above_one == pytest.approx(0.80, abs=0.005)


@pytest.mark.parametrize(
    ("sd", "shape", "ratio"),
    # table 8.2 of the evidence: shape of the gamma distribution, median odds ratio
    [(0.3, 10.62, 1.33), (0.5, 3.52, 1.61), (0.7, 1.58, 1.95)],
)
def test_the_spread_between_surgeons(sd: float, shape: float, ratio: float) -> None:
    assert engine.gamma_shape(sd) == pytest.approx(shape, abs=0.005)
    assert engine.median_odds_ratio(sd) == pytest.approx(ratio, abs=0.005)


@quick
@given(events=st.integers(0, 60), expected=st.floats(0.01, 60), sd=st.floats(0.2, 0.9))
def test_the_factor_agrees_with_the_reference_library(events: int, expected: float, sd: float) -> None:
    a = 1 / np.expm1(sd**2)
    posterior = stats.gamma(a + events, scale=1 / (a + expected))
    found = engine.surgeon_factor(events=events, expected=expected, surgeon_sd=sd, level=0.95)
    assert found.mean == pytest.approx(posterior.mean())
    assert (found.low, found.high) == pytest.approx(posterior.ppf([0.025, 0.975]), rel=2e-3)
    assert found.above_one == pytest.approx(posterior.sf(1), abs=2e-3)
    assert found.mean == pytest.approx(found.weight * events / expected + (1 - found.weight))


@pytest.mark.parametrize(
    ("events", "operations", "printed"),
    # B5 and B6: Beta(4.03, 395) with 3/250, 0/100, 6/200: per cent
    [(3, 250, ("1.083", "0.44", "2.01")), (0, 100, ("0.808", "0.22", "1.76")), (6, 200, ("1.674", "0.81", "2.84"))],
)
def test_the_worked_table_of_the_rate(events: int, operations: int, printed: tuple[str, str, str]) -> None:
    mean, low, high, weight = engine.rate_from_record(
        published_rate=0.0101, surgeon_sd=0.5, events=events, operations=operations, level=0.95
    )
    prior = engine.prior_operations(published_rate=0.0101, surgeon_sd=0.5)
    assert prior == pytest.approx(399, abs=0.5)
    assert prior * 0.0101 == pytest.approx(4.03, abs=0.005)
    assert 100 * mean == pytest.approx(float(printed[0]), abs=0.001)
    assert (100 * low, 100 * high) == pytest.approx((float(printed[1]), float(printed[2])), abs=0.01)
    reference = stats.beta(prior * 0.0101 + events, prior * (1 - 0.0101) + operations - events)
    assert (low, high) == pytest.approx(reference.ppf([0.025, 0.975]), rel=2e-3)
    assert weight == pytest.approx(operations / (operations + prior))


def cases(n: int, *, intercept: float, slope: float) -> tuple[tuple[float, ...], tuple[bool, ...]]:
    rng = np.random.default_rng(7)
    log_odds = rng.normal(-3.0, 1.0, n)
    observed = rng.random(n) < logistic(intercept + slope * log_odds)
    return tuple(float(p) for p in logistic(log_odds)), tuple(bool(o) for o in observed)


def test_recalibration_agrees_with_a_general_minimiser() -> None:
    predicted, observed = cases(1500, intercept=0.6, slope=0.8)
    found = engine.recalibrate(predicted=predicted, observed=observed, intercept_sd=0.5, slope_sd=0.2)
    x, y = logit(np.array(predicted)), np.array(observed, dtype=float)

    def cost(b: np.ndarray) -> float:
        eta = b[0] + b[1] * x
        return float(np.sum(np.logaddexp(0, eta)) - y @ eta + b[0] ** 2 / 0.5 + (b[1] - 1) ** 2 / 0.08)

    reference = minimize(cost, [0.0, 1.0], method="BFGS", options={"gtol": 1e-8})
    assert (found.intercept, found.slope) == pytest.approx(tuple(reference.x), abs=1e-4)
    assert 0 < found.weight_slope < 1
    assert 0 < found.weight_intercept < 1


def test_own_data_weigh_more_the_more_there_are_and_many_find_the_truth() -> None:
    few, more, many = (
        engine.recalibrate(**_named(cases(n, intercept=0.6, slope=0.8)), intercept_sd=0.5, slope_sd=0.2)
        for n in (20, 400, 40_000)
    )
    assert few.weight_slope < more.weight_slope < many.weight_slope
    assert few.weight_intercept < more.weight_intercept < many.weight_intercept
    assert few.weight_intercept < 0.3
    assert (many.intercept, many.slope) == pytest.approx((0.6, 0.8), abs=0.1)  # what made the cases
    assert many.weight_slope > 0.9


def _named(pair: tuple[tuple[float, ...], tuple[bool, ...]]) -> dict[str, tuple[float, ...] | tuple[bool, ...]]:
    return {"predicted": pair[0], "observed": pair[1]}


def test_all_coefficients_with_published_ratios_as_priors_move_from_them_by_the_data() -> None:
    # with no event information at all (one case), the ratios stay; with many cases they reach what made the data
    prior, sd = np.log([1.28, 3.47]), np.array([0.15, 0.0653])
    one, _ = engine.posterior_logistic([[0.0, 0.0]], [0.0], prior_mean=prior, prior_sd=sd)
    assert one == pytest.approx(prior)
    rng = np.random.default_rng(3)
    design = (rng.random((30_000, 2)) < 0.4).astype(float)
    made = rng.random(30_000) < logistic(design @ np.log([2.0, 3.47]))
    many, covariance = engine.posterior_logistic(design, made, prior_mean=prior, prior_sd=sd)
    assert np.exp(many[0]) == pytest.approx(2.0, rel=0.1)
    assert np.all(np.sqrt(np.diag(covariance)) < sd)


RECORD = engine.OwnRecord("manual-small-incision", 400, 7, 4.2)


def test_without_a_record_nothing_moves() -> None:
    found = engine.learned((), "manual-small-incision", constants=CONSTANTS, level=0.95)
    assert (found.intercept, found.slope, found.weight_intercept) == (0.0, 1.0, 0.0)


def test_a_new_technique_starts_from_the_others() -> None:
    prior, sd = engine.prior_from_others((RECORD,), "phacoemulsification", constants=CONSTANTS, level=0.95)
    assert prior == pytest.approx(1.363, abs=0.0005)  # B1
    assert 0.3 < sd <= 0.5
    own, _ = engine.prior_from_others((RECORD,), "manual-small-incision", constants=CONSTANTS, level=0.95)
    assert own == 1


def test_the_slope_is_refitted_only_from_enough_events() -> None:
    for n, refits in ((200, False), (4000, True)):
        predicted, observed = cases(n, intercept=0.0, slope=1.0)
        record = engine.OwnRecord("x", n, sum(observed), sum(predicted), predicted, observed)
        assert (sum(observed) >= 20) == refits
        assert engine.learned((record,), "x", constants=CONSTANTS, level=0.95).refits_slope == refits
