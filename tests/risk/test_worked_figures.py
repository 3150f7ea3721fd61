"""Worked figures of the evidence that stand on no row of their own: intervals of small counts, ageing, rates."""

from __future__ import annotations

import math

import pytest

from forestay.calc.audit import rate, risk_adjusted_cusum
from forestay.risk.endothelium import aged
from forestay.risk.own_record import median_odds_ratio


@pytest.mark.parametrize(
    ("events", "n", "printed"),
    [
        # T3 and T4 of risk.md's table, and 19 of the management table: Wilson, per cent
        (16, 193, ("5.17", "13.04")),
        (0, 39, ("0.00", "8.97")),
        (1, 500, ("0.04", "1.12")),
        (9, 61, ("7.96", "25.72")),
        # Bayraktar, zonular separation without a ring at the start: 12.8 % (5.6 to 26.7)
        (5, 39, ("5.6", "26.7")),
        (27, 30, ("74.4", "96.5")),
        (23, 30, ("59.1", "88.2")),
    ],
)
def test_intervals_of_small_counts(events: int, n: int, printed: tuple[str, str]) -> None:
    found = rate(events=events, n=n, level=0.95).result.wilson
    for value, text in zip(found, printed, strict=True):
        digits = len(text.partition(".")[2])
        assert f"{100 * value:.{digits}f}" == text


@pytest.mark.parametrize(
    ("events", "n", "percent", "digits"),
    # E1 and E2: infection after rupture without and with moxifloxacin, and the treated of a later year; ruptures of all;
    # Yamazoe 2011, corneas that failed of those under 1,000 cells; Bayraktar, separation without a ring
    [
        (20, 4186, 0.478, 3),
        (9, 4293, 0.210, 3),
        (52, 222508, 0.0234, 4),
        (8479, 617453, 1.373, 3),
        (9, 61, 14.8, 1),
        (5, 39, 12.8, 1),
    ],
)
def test_rates_of_the_large_series(events: int, n: int, percent: float, digits: int) -> None:
    assert round(100 * rate(events=events, n=n, level=0.95).result.rate, digits) == percent


def test_yearly_loss_of_a_quiet_cornea() -> None:
    # C1: 2715 to 2539 in 10.6 years is 0.632 % a year, exactly
    yearly = math.log(2715 / 2539) / 10.6
    assert yearly == pytest.approx(0.00632, abs=0.000005)
    assert aged(count_per_mm2=2715, years=10.6, per_year=yearly) == pytest.approx(2539)


def test_steps_of_the_sum_that_watches_a_surgeon() -> None:
    # B8: p 0.01, odds ratio 2: an event adds 0.683, none takes 0.00995 away
    path = risk_adjusted_cusum(expected=[0.01, 0.01], observed=[1, 0], odds_ratio=2.0, limit=4.0).result.path
    assert path[0] == pytest.approx(0.683, abs=0.0005)
    assert path[0] - path[1] == pytest.approx(0.00995, abs=0.00001)


def test_the_median_odds_ratio() -> None:
    assert median_odds_ratio(0.5) == pytest.approx(1.61, abs=0.005)  # B7
