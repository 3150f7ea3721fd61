"""The normal distribution against a general-purpose reference library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from forestay.risk.normal import central, normal_cdf, normal_nodes, normal_quantile


def test_the_distribution_agrees_with_the_reference_over_its_whole_range() -> None:
    x = np.linspace(-8, 8, 401)
    np.testing.assert_allclose(normal_cdf(x), norm.cdf(x), rtol=1e-12, atol=1e-16)


def test_a_number_gives_a_number_and_an_array_its_shape() -> None:
    assert isinstance(normal_cdf(0.3), float)
    assert normal_cdf(np.zeros((3, 2))).shape == (3, 2)


@pytest.mark.parametrize("p", [1e-6, 0.05, 0.5, 0.975, 1 - 1e-6])
def test_the_quantile_agrees_with_the_reference(p: float) -> None:
    assert normal_quantile(p) == pytest.approx(norm.ppf(p), rel=1e-9, abs=1e-12)


def test_nodes_are_symmetric_and_have_the_spread_of_the_distribution() -> None:
    nodes = normal_nodes(400)
    np.testing.assert_allclose(nodes, -nodes[::-1], atol=1e-9)
    assert np.std(nodes) == pytest.approx(1, abs=0.01)


def test_the_central_interval_holds_its_share() -> None:
    below, above = central(0.9)
    assert above - below == pytest.approx(0.9)
    assert below == pytest.approx(1 - above)
