"""Intervals of a proportion against published tables, statsmodels and their own promise of coverage."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

from forestay.statistics import proportion

WILSON = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
"""Newcombe RG. Stat Med 1998;17:857, table I (score interval without correction); from memory."""


@pytest.mark.parametrize(("events", "n", "low", "high"), WILSON)
def test_wilson_agrees_with_the_published_table(events: int, n: int, low: float, high: float) -> None:
    found = proportion.wilson(events=events, n=n, level=0.95)
    assert (float(found.low), float(found.high)) == pytest.approx((low, high), abs=5e-5)


def test_exact_agrees_with_a_published_example() -> None:
    # 5 of 25: 0.068 to 0.407, as printed in a public statistics text.
    found = proportion.exact(events=5, n=25, level=0.95)
    assert (float(found.low), float(found.high)) == pytest.approx((0.068, 0.407), abs=5e-4)


@given(n=st.integers(1, 3000), part=st.floats(0, 1), level=st.sampled_from([0.8, 0.95, 0.99]))
def test_both_agree_with_a_general_library(n: int, part: float, level: float) -> None:
    events = round(part * n)
    for method, found in (
        ("wilson", proportion.wilson(events=events, n=n, level=level)),
        ("beta", proportion.exact(events=events, n=n, level=level)),
    ):
        low, high = proportion_confint(events, n, alpha=1 - level, method=method)
        assert float(found.low) == pytest.approx(low, abs=1e-9)
        assert float(found.high) == pytest.approx(high, abs=1e-9)


@pytest.mark.parametrize(("n", "bound"), [(100, 0.029513), (300, 0.009936)])
def test_a_clean_series_still_allows_about_three_in_n(n: int, bound: float) -> None:
    # 1 - 0.05 ** (1 / n), by hand.
    assert float(proportion.upper_bound(events=0, n=n, level=0.95)) == pytest.approx(bound, abs=1e-6)
    assert bound == pytest.approx(1 - 0.05 ** (1 / n), abs=1e-6)
    assert bound == pytest.approx(3 / n, rel=0.02)


@pytest.mark.parametrize("true", [0.0069, 0.0195, 0.2, 0.5])
def test_the_exact_interval_covers_at_least_as_promised(true: float) -> None:
    n = 150
    k = np.arange(n + 1)
    ends = proportion.exact(events=k, n=n, level=0.95)
    covered = binom.pmf(k, n, true)[(ends.low <= true) & (true <= ends.high)].sum()
    assert covered >= 0.95


def test_scalar_and_array_agree_and_the_ends_stay_within_bounds() -> None:
    k, n = np.array([0, 1, 7, 10]), 10
    for interval in (proportion.wilson, proportion.exact):
        whole = interval(events=k, n=n, level=0.95)
        one = [interval(events=int(v), n=n, level=0.95) for v in k]
        assert whole.low.tolist() == [float(e.low) for e in one]
        assert whole.high.tolist() == [float(e.high) for e in one]
        assert (whole.low[0], whole.high[-1]) == (0, 1)
        assert np.all(np.diff(whole.low) > 0)
        assert np.all(np.diff(whole.high) > 0)


@given(events=st.integers(0, 40), n=st.integers(40, 90))
def test_counting_the_other_way_round_mirrors_the_interval(events: int, n: int) -> None:
    for interval in (proportion.wilson, proportion.exact):
        here, there = interval(events=events, n=n, level=0.9), interval(events=n - events, n=n, level=0.9)
        assert float(here.low) == pytest.approx(1 - float(there.high), abs=1e-12)
