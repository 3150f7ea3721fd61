"""Endothelial loss and ageing: worked counts, truncated loss, a lower count never ends higher, and nowhere a step."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import truncnorm

from forestay.risk import endothelium as engine
from forestay.risk.truncated import Truncated, whole_sd, with_mean

quick = settings(deadline=None, derandomize=True, max_examples=80)
LOSS = engine.Loss(0.177, 0.125, 0.0, 0.8)
AGEING = engine.Ageing(0.006, 0.005)
counts = st.floats(300, 4000)


def reference(made: Truncated) -> Any:
    """The same distribution of the reference library."""
    ends = ((end - made.middle) / made.sd for end in (made.least, made.greatest))
    return truncnorm(*ends, loc=made.middle, scale=made.sd)


def certain(share: float) -> engine.Loss:
    return engine.Loss(share, 0.0, 0.0, 0.8)


def test_ageing_of_a_quiet_eye() -> None:
    # Bourne 1997: 2715 at 0.6 % a year over 10.6 years; worked 2548, measured 2539
    assert engine.aged(count_per_mm2=2715, years=10.6, per_year=0.006) == pytest.approx(2548, abs=0.5)


def test_surgery_and_ten_years() -> None:
    # worked in the evidence: 2300, 15 % lost, ten years at 0.6 % leave 1841
    healed = engine.mean_after(count_per_mm2=2300, loss=engine.Loss(0.15, 0.1, 0.0, 0.8))
    assert engine.aged(count_per_mm2=healed, years=10, per_year=0.006) == pytest.approx(1841, abs=0.5)


@pytest.mark.parametrize(("count", "share", "left"), [(1800, 0.177, 1481), (900, 0.115, 797), (900, 0.199, 721)])
def test_counts_left_by_published_losses(count: float, share: float, left: float) -> None:
    # worked in the evidence from Gogate 2010, Yamazoe 2011 and Chen 2021; at the mean loss, spread or not
    assert engine.mean_after(count_per_mm2=count, loss=engine.Loss(share, 0.1, 0, 0.8)) == pytest.approx(left, abs=0.75)
    assert engine.after_surgery(count_per_mm2=count, loss_z=0.0, loss=certain(share)) == pytest.approx(left, abs=0.75)


def test_loss_ends_where_it_is_truncated() -> None:
    left = engine.after_surgery(count_per_mm2=1000.0, loss_z=np.array([-40.0, 40.0]), loss=LOSS)
    np.testing.assert_allclose(left, [1000, 200])


@pytest.mark.parametrize("sd", [0.05, 0.125, 0.23])
@pytest.mark.parametrize("mean", [0.02, 0.06, 0.102, 0.177, 0.4, 0.7, 0.78])
def test_the_truncated_normal_is_that_of_the_reference_library(mean: float, sd: float) -> None:
    """Mean as asked; mean, spread, tail and quantiles against scipy.stats.truncnorm, from end to end."""
    made = with_mean(mean=mean, sd=sd, least=0.0, greatest=0.8)
    other = reference(made)
    assert made.mean == pytest.approx(mean, abs=1e-9)
    assert made.mean == pytest.approx(other.mean(), abs=1e-9)
    assert made.spread == pytest.approx(other.std(), rel=1e-6)
    at, share = np.linspace(-0.1, 0.9, 41), np.linspace(0, 1, 41)
    np.testing.assert_allclose(made.above(at), other.sf(at), rtol=1e-9, atol=1e-14)
    np.testing.assert_allclose(made.quantile(share), other.ppf(share), rtol=1e-7, atol=1e-12)


def test_published_mean_and_spread_come_out_together() -> None:
    # Chen 2021: 252 eyes above 2000/mm2 lost 15.0 +/- 12.0 %
    wide = whole_sd(mean=0.15, spread=0.12, least=0.0, greatest=0.8)
    other = reference(with_mean(mean=0.15, sd=wide, least=0.0, greatest=0.8))
    assert other.mean() == pytest.approx(0.15, abs=1e-9)
    assert other.std() == pytest.approx(0.12, abs=1e-9)


@quick
@given(mean=st.floats(0.01, 0.7), more=st.floats(0.001, 0.09), sd=st.floats(0.02, 0.3), at=st.floats(-0.1, 0.9))
def test_a_greater_mean_loss_makes_every_loss_likelier(mean: float, more: float, sd: float, at: float) -> None:
    less, greater = (with_mean(mean=m, sd=sd, least=0.0, greatest=0.8) for m in (mean, mean + more))
    assert greater.above(at) >= less.above(at)


@quick
@given(
    threshold=st.sampled_from([500.0, 700.0, 1000.0]),
    beside=st.floats(-5, 5),
    mean=st.floats(0.03, 0.5),
    years=st.sampled_from([0.0, 3.0]),
)
def test_chances_have_no_step_in_count_threshold_or_loss(
    threshold: float, beside: float, mean: float, years: float
) -> None:
    """A hair's breadth of count, threshold or loss moves a chance by a hair's breadth, also where the count passes the
    threshold: there it falls from 1 without a step."""

    def chance(count: float, threshold: float, mean: float) -> float:
        loss = engine.Loss(mean, 0.23, 0.0, 0.8)
        return engine.probability_below(
            threshold_per_mm2=threshold, count_per_mm2=count, loss=loss, ageing=AGEING, years=years
        )

    count = threshold + beside
    here = chance(count, threshold, mean)
    assert 0 <= here - chance(count + 0.01, threshold, mean) < 2e-3
    assert 0 <= chance(count, threshold + 0.01, mean) - here < 2e-3
    assert 0 <= chance(count, threshold, mean + 1e-6) - here < 2e-3
    if years == 0 and beside <= 0:
        assert here == 1.0


@quick
@given(count=counts, more=st.floats(1, 500), grade=st.floats(1, 5), years=st.sampled_from([0.0, 1.0, 7.5, 20.0]))
def test_a_lower_count_never_ends_higher(count: float, more: float, grade: float, years: float) -> None:
    loss = engine.loss_at(
        grade=grade,
        reference_grade=3,
        mean_at_reference=0.18,
        slope_per_grade=0.04,
        sd_eye=0.12,
        sd_series=0.03,
        least=0.0,
        greatest=0.8,
    )
    z = np.linspace(-3, 3, 13)
    lower = engine.after_surgery(count_per_mm2=count, loss_z=z, loss=loss)
    higher = engine.after_surgery(count_per_mm2=count + more, loss_z=z, loss=loss)
    assert np.all(lower < higher)
    ends_lower = engine.interval(count_per_mm2=count, loss=loss, ageing=AGEING, years=years, level=0.9)
    ends_higher = engine.interval(count_per_mm2=count + more, loss=loss, ageing=AGEING, years=years, level=0.9)
    assert ends_lower[0] < ends_higher[0]
    assert ends_lower[1] < ends_higher[1]
    for threshold in (500, 700, 1000):
        chances = [
            engine.probability_below(
                threshold_per_mm2=threshold, count_per_mm2=c, loss=loss, ageing=AGEING, years=years
            )
            for c in (count, count + more)
        ]
        assert chances[0] >= chances[1]


@pytest.mark.parametrize("threshold", [500, 700, 1000])
@pytest.mark.parametrize("count", [450, 900, 1200, 2500])
def test_the_chance_below_a_threshold_agrees_with_the_truncated_normal(count: float, threshold: float) -> None:
    found = engine.probability_below(
        threshold_per_mm2=threshold, count_per_mm2=count, loss=LOSS, ageing=AGEING, years=0
    )
    assert found == pytest.approx(reference(LOSS.shares).sf(1 - threshold / count), abs=1e-12)


def test_the_chance_without_spread_is_certain() -> None:
    for threshold, chance in ((800, 0.0), (900, 1.0)):
        found = engine.probability_below(
            threshold_per_mm2=threshold, count_per_mm2=1000, loss=certain(0.15), ageing=engine.Ageing(0, 0), years=0
        )
        assert found == chance


def test_the_interval_after_years_agrees_with_simulation() -> None:
    rng = np.random.default_rng(4)
    loss = reference(LOSS.shares).rvs(200_000, random_state=rng)
    rate = np.maximum(AGEING.mean + AGEING.sd * rng.standard_normal(200_000), 0)
    left = 2000 * (1 - loss) * np.exp(-rate * 10)
    found = engine.interval(count_per_mm2=2000, loss=LOSS, ageing=AGEING, years=10, level=0.9)
    np.testing.assert_allclose(found, np.quantile(left, [0.05, 0.95]), rtol=0.01)


def test_the_interval_has_no_step_just_after_surgery() -> None:
    now = engine.interval(count_per_mm2=2000, loss=LOSS, ageing=AGEING, years=0, level=0.9)
    soon = engine.interval(count_per_mm2=2000, loss=LOSS, ageing=AGEING, years=1e-6, level=0.9)
    np.testing.assert_allclose(now, soon, rtol=0.005)


def test_the_interval_closes_without_spread() -> None:
    low, high = engine.interval(
        count_per_mm2=2000, loss=certain(0.2), ageing=engine.Ageing(0.006, 0), years=5, level=0.9
    )
    assert low == pytest.approx(high)
