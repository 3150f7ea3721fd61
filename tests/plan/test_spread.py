"""The ends of an interval are those of a general library."""

from __future__ import annotations

import numpy as np
import pytest

from forestay.plan.spread import HIGH_PERCENT, LOW_PERCENT, Spread


@pytest.mark.parametrize("count", [1, 2, 20, 21, 300, 1000])
@pytest.mark.parametrize("rounded", [False, True])
def test_ends_equal_the_percentiles_of_numpy_to_the_last_bit(count: int, rounded: bool) -> None:
    draw = np.random.default_rng(count)
    for scale in (1e-3, 1.0, 1e3):
        draws = draw.normal(size=count) * scale
        draws = np.round(draws) if rounded else draws
        found = Spread(0.0, draws)
        assert found.low == np.percentile(draws, LOW_PERCENT)
        assert found.high == np.percentile(draws, HIGH_PERCENT)


def test_a_draw_that_is_no_number_leaves_no_interval() -> None:
    assert np.isnan(Spread(0.0, np.array([0.0, np.nan, 1.0])).ends).all()
