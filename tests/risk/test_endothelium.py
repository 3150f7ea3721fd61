"""Endothelial loss and ageing: worked counts, cut distribution, a lower count never ends higher."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from forestay.risk import endothelium as engine

quick = settings(deadline=None, derandomize=True, max_examples=80)
LOSS = engine.Loss(0.177, 0.125, 0.0, 0.8)
AGEING = engine.Ageing(0.006, 0.005)
counts = st.floats(300, 4000)


def certain(share: float) -> engine.Loss:
    return engine.Loss(share, 0.0, 0.0, 0.8)


def test_ageing_of_a_quiet_eye() -> None:
    # Bourne 1997: 2715 at 0.6 % a year over 10.6 years; worked 2548, measured 2539
    assert engine.aged(count_per_mm2=2715, years=10.6, per_year=0.006) == pytest.approx(2548, abs=0.5)


def test_surgery_and_ten_years() -> None:
    # worked in the evidence: 2300, 15 % lost, ten years at 0.6 % leave 1841
    healed = engine.after_surgery(count_per_mm2=2300, loss_z=0.0, loss=certain(0.15))
    assert engine.aged(count_per_mm2=healed, years=10, per_year=0.006) == pytest.approx(1841, abs=0.5)


@pytest.mark.parametrize(("count", "share", "left"), [(1800, 0.177, 1481), (900, 0.115, 797), (900, 0.199, 721)])
def test_counts_left_by_published_losses(count: float, share: float, left: float) -> None:
    # worked in the evidence from Gogate 2010, Yamazoe 2011 and Chen 2021
    assert engine.after_surgery(count_per_mm2=count, loss_z=0.0, loss=certain(share)) == pytest.approx(left, abs=0.75)


def test_loss_is_cut_at_its_ends() -> None:
    left = engine.after_surgery(count_per_mm2=1000.0, loss_z=np.array([-9.0, 9.0]), loss=LOSS)
    np.testing.assert_allclose(left, [1000, 200])


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
def test_the_chance_below_a_threshold_agrees_with_the_cut_normal(count: float, threshold: float) -> None:
    found = engine.probability_below(
        threshold_per_mm2=threshold, count_per_mm2=count, loss=LOSS, ageing=AGEING, years=0
    )
    z = norm.ppf((np.arange(400_000) + 0.5) / 400_000)
    left = count * (1 - np.clip(LOSS.mean + LOSS.sd * z, 0.0, 0.8))
    assert found == pytest.approx(np.mean(left < threshold), abs=1e-4)


def test_the_chance_without_spread_is_certain() -> None:
    for threshold, chance in ((800, 0.0), (900, 1.0)):
        found = engine.probability_below(
            threshold_per_mm2=threshold, count_per_mm2=1000, loss=certain(0.15), ageing=engine.Ageing(0, 0), years=0
        )
        assert found == chance


def test_the_interval_after_years_agrees_with_simulation() -> None:
    rng = np.random.default_rng(4)
    loss = np.clip(LOSS.mean + LOSS.sd * rng.standard_normal(400_000), 0.0, 0.8)
    rate = np.maximum(AGEING.mean + AGEING.sd * rng.standard_normal(400_000), 0)
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
