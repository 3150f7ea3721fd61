"""The chance of a refraction, against scipy's normal distribution and the worked budget of the evidence (5.1)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from forestay.errors import InvalidInput
from forestay.optics import chance
from forestay.optics.chance import Region


@pytest.mark.parametrize(
    ("sd", "share"),
    [
        # SD of the refraction -> share within 1 D of the prediction (evidence 5.1)
        (0.65, 0.88), (0.48, 0.96), (0.38, 0.99), (0.76, 0.81), (0.56, 0.93), (0.44, 0.98),
        (0.90, 0.74), (0.67, 0.87), (0.55, 0.93), (1.02, 0.67), (0.71, 0.84), (0.51, 0.95),
    ],
)  # fmt: skip
def test_within_one_dioptre(sd: float, share: float) -> None:
    # the SDs there are rounded to 0.01, which moves a share by up to 0.008
    assert chance.within(mean_d=0.0, sd_d=sd, target_d=0.0, tolerance_d=1.0) == pytest.approx(share, abs=0.0085)


@settings(deadline=None, derandomize=True, max_examples=50)
@given(
    mean=st.floats(-3, 3), sd=st.floats(0.05, 2.0), low=st.floats(-3, 1), wide=st.floats(0.1, 2), more=st.floats(0, 2)
)
def test_chances_are_those_of_a_normal_error(mean: float, sd: float, low: float, wide: float, more: float) -> None:
    told = chance.chances(Region(low, low + wide, low + wide + more), mean_d=mean, sd_d=sd)
    assert told.below == pytest.approx(norm.cdf(low, mean, sd), abs=1e-12)
    assert told.above == pytest.approx(norm.sf(low + wide, mean, sd), abs=1e-12)
    assert told.refused == pytest.approx(norm.sf(low + wide + more, mean, sd), abs=1e-12)
    assert told.below + told.within + told.above == pytest.approx(1.0, abs=1e-12)


def test_arrays_and_no_spread() -> None:
    found = chance.within(mean_d=np.array([0.0, 0.4, 0.6]), sd_d=0.0, target_d=0.0, tolerance_d=0.5)
    assert np.asarray(found).tolist() == [1.0, 1.0, 0.0]
    assert chance.below(mean_d=0.5, sd_d=0.0, limit_d=0.5) == 0.5
    assert np.isnan(chance.below(mean_d=np.nan, sd_d=0.4, limit_d=0.5))


def test_a_region_asks_for_another_power_than_its_middle_where_hyperopia_is_refused() -> None:
    def best(region: Region) -> float:
        found = chance.best_power(
            region,
            powers_d=[20.0, 20.5, 21.0, 21.5],
            refraction_d=lambda p: -0.7 * (p - 20.0),  # the average eye: 0.70 D for each dioptre of lens
            sd_d=lambda _: 0.75,
        )
        return found[0].power_d

    assert best(Region(-1.0, 0.0)) == 20.5
    assert best(Region(-1.0, 0.0, refused_above_d=0.5)) == 21.0


def test_the_middle_wins_without_a_preference() -> None:
    found = chance.best_power(
        Region(-0.5, 0.5), powers_d=[1.0, 2.0, 3.0], refraction_d=lambda p: 2.0 - p, sd_d=lambda _: 0.5
    )
    assert [o.power_d for o in found] == [2.0, 1.0, 3.0]


@pytest.mark.parametrize(
    ("region", "field"), [((0.0, -1.0, None), "accept_to_d"), ((-1.0, 0.0, -0.5), "refuse_above_d")]
)
def test_a_region_the_wrong_way_round_is_refused(region: tuple[float, float, float | None], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        Region(*region)
    assert caught.value.field == field
