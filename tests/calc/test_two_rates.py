"""Two rates side by side, against published worked examples and a general-purpose library."""

from __future__ import annotations

import pytest
from scipy.stats.contingency import relative_risk

from forestay.calc.two_rates import two_rates
from forestay.errors import InvalidInput


def compare(a: int, m: int, b: int, n: int):  # type: ignore[no-untyped-def]
    return two_rates(first_events=a, first_n=m, second_events=b, second_n=n).result


def test_infection_without_and_with_an_antibiotic() -> None:
    # Haripriya 2016: 30 of 37 777 and 6 of 38 160 are 0.0794 and 0.0157 %, ratio 5.05, number needed 1570
    found = compare(30, 37777, 6, 38160)
    assert (round(100 * found.first, 4), round(100 * found.second, 4)) == (0.0794, 0.0157)
    assert found.ratio == pytest.approx(5.05, abs=0.005)
    assert found.needed == pytest.approx(1570, abs=1)


def test_macular_oedema_with_one_drug_or_both() -> None:
    # PREMED 2018 (rates of the worked table): 5.1 against 1.5 %: 27.8 operations for one case less
    assert compare(51, 1000, 15, 1000).needed == pytest.approx(27.8, abs=0.05)


@pytest.mark.parametrize(
    ("counts", "low", "high"),
    # Newcombe, Stat Med 1998;17:873, table II, method 10: 56/70 - 48/80, 9/10 - 3/10, 5/56 - 0/29
    [((56, 70, 48, 80), 0.0524, 0.3339), ((9, 10, 3, 10), 0.1705, 0.8090), ((5, 56, 0, 29), -0.0381, 0.1926)],
)
def test_the_interval_of_the_difference(counts: tuple[int, int, int, int], low: float, high: float) -> None:
    found = compare(*counts)
    assert found.difference_low == pytest.approx(low, abs=5e-5)
    assert found.difference_high == pytest.approx(high, abs=5e-5)


@pytest.mark.parametrize("counts", [(30, 37777, 6, 38160), (18, 99, 7, 126), (20, 4186, 9, 4293)])
def test_the_interval_of_the_ratio_is_that_of_the_library(counts: tuple[int, int, int, int]) -> None:
    a, m, b, n = counts
    found, known = compare(*counts), relative_risk(a, m, b, n)
    low, high = known.confidence_interval(0.95)
    assert (found.ratio, found.ratio_low, found.ratio_high) == pytest.approx((known.relative_risk, low, high))


def test_no_event_and_no_difference_are_said_not_divided_by() -> None:
    none = two_rates(first_events=0, first_n=40, second_events=0, second_n=40)
    assert (none.result.ratio, none.result.needed) == (None, None)
    same = two_rates(first_events=6, first_n=100, second_events=4, second_n=100)
    assert same.result.needed == pytest.approx(50)
    assert same.result.needed_high is None
    assert {"may-not-differ", "few-events"} <= {d.code for d in same.doubts}


def test_more_events_than_operations_are_refused() -> None:
    with pytest.raises(InvalidInput, match="second_events"):
        two_rates(first_events=1, first_n=10, second_events=11, second_n=10)
