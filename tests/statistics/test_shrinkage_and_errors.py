"""Own figures drawn towards published ones, and the summary of prediction errors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from forestay.statistics import errors, shrinkage

ERRORS = [-0.62, -0.35, -0.20, -0.10, 0.05, 0.12, 0.25, 0.40, 0.55, 1.20]


@pytest.mark.parametrize(
    ("own", "published", "shrunk"),
    [
        ((3, 50), (0.0195, 100), (0.033, 0.010795, 0.066836)),
        ((0, 20), (0.0195, 100), (0.01625, 0.001912, 0.045221)),
        ((6, 100), (0.02, 200), (0.033333, 0.016152, 0.056369)),
    ],
)
def test_a_rate_between_own_and_published(
    own: tuple[int, int], published: tuple[float, float], shrunk: tuple[float, float, float]
) -> None:
    (events, n), (prior, weight) = own, published
    found = shrinkage.rate(events=events, n=n, prior_rate=prior, prior_weight=weight, level=0.95)
    assert (found.mean, found.low, found.high) == pytest.approx(shrunk, abs=1e-6)
    posterior = beta(prior * weight + events, (1 - prior) * weight + n - events)
    assert (found.low, found.high) == pytest.approx(posterior.ppf([0.025, 0.975]))
    assert found.above_prior == pytest.approx(posterior.sf(prior))
    assert found.own_weight == pytest.approx(n / (n + weight))
    assert found.mean == pytest.approx(found.own_weight * events / n + (1 - found.own_weight) * prior)


@given(st.lists(st.floats(-3, 3), max_size=30), st.floats(0.05, 1), st.floats(0.05, 1))
def test_a_mean_lies_between_the_two_and_more_eyes_weigh_more(own: list[float], between: float, within: float) -> None:
    found = shrinkage.mean(own, prior_mean=0.2, between_sd=between, within_sd=within)
    assert 0 <= found.own_weight < 1
    centre = float(np.mean(own)) if own else 0.2
    assert min(centre, 0.2) - 1e-9 <= found.mean <= max(centre, 0.2) + 1e-9
    assert found.sd <= between + 1e-12
    twice = shrinkage.mean([*own, 0.2], prior_mean=0.2, between_sd=between, within_sd=within)
    assert twice.own_weight > found.own_weight


def test_a_true_mean_is_recovered_with_nominal_coverage() -> None:
    generator = np.random.default_rng(70)
    inside = 0
    for _ in range(2000):
        true = generator.normal(118.4, 0.3)
        found = shrinkage.mean(generator.normal(true, 0.5, 12), prior_mean=118.4, between_sd=0.3, within_sd=0.5)
        inside += abs(found.mean - true) <= 1.959964 * found.sd
    assert inside / 2000 == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / 2000))


def test_errors_summarised_by_hand() -> None:
    found = errors.summary(ERRORS, bands=[0.25, 0.5, 0.75, 1])
    assert (found.n, found.mean, found.mean_absolute, found.median_absolute) == pytest.approx((10, 0.13, 0.384, 0.30))
    assert found.sd == pytest.approx(0.513138, abs=1e-6)
    assert found.within == pytest.approx((0.5, 0.7, 0.9, 0.9))


def test_errors_after_zeroing_count_the_edge_as_inside() -> None:
    zeroed = np.array(ERRORS) - np.mean(ERRORS)
    found = errors.summary(zeroed, bands=[0.25, 0.5, 0.75, 1])
    assert (found.mean_absolute, found.median_absolute, found.root_mean_square) == pytest.approx(
        (0.376, 0.30, 0.486806), abs=1e-6
    )
    assert found.within == pytest.approx((0.4, 0.8, 0.9, 0.9))


def test_a_single_error_has_no_spread() -> None:
    assert errors.summary([0.3], bands=[0.5]).sd is None
