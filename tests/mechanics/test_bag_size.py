"""The bag's diameter: check values of the published regression (doi 10.1016/s0886-3350(99)00204-7)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.bag_size import BagSizeConstants, bag_diameter_mm, bag_diameter_sd_mm

CONSTANTS = default_evidence().reader().constants(BagSizeConstants)
steady = settings(deadline=None, derandomize=True)


@pytest.mark.parametrize(
    ("length", "power", "diameter"),
    [  # published formula worked by hand, to 0.001 mm; the last two are outside the lengths it is good for
        (23.5, 43.5, 10.304),
        (21.0, 46.0, 9.883),
        (22.0, 44.0, 10.128),
        (24.0, 43.0, 10.368),
        (26.0, 43.0, 10.444),
        (28.0, 42.0, 10.468),
        (30.0, 42.0, 10.328),
    ],
)
def test_check_values(length: float, power: float, diameter: float) -> None:
    ours = bag_diameter_mm(axial_length_mm=length, k_mean_d=power, constants=CONSTANTS)
    assert isinstance(ours, float)
    assert ours == pytest.approx(diameter, abs=0.001)


def test_the_minus_sign_gives_the_mean_of_the_series() -> None:
    # series mean 10.37 +/- 0.25 mm at an ordinary eye; with a plus the bag would be 4.9 mm wider
    ours = float(bag_diameter_mm(axial_length_mm=24.0, k_mean_d=43.0, constants=CONSTANTS))
    assert ours == pytest.approx(10.37, abs=0.05)


def test_the_quadratic_peaks_at_26_4_mm() -> None:
    length = np.linspace(26.0, 27.0, 100_001)
    ours = np.asarray(bag_diameter_mm(axial_length_mm=length, k_mean_d=43.0, constants=CONSTANTS))
    assert length[np.argmax(ours)] == pytest.approx(26.407, abs=0.001)


def test_the_spread_is_that_of_the_regression_inside_the_studied_lengths() -> None:
    # 0.25 sqrt(1 - 0.3145) = 0.207
    ours = float(bag_diameter_sd_mm(axial_length_mm=24.0, k_mean_d=43.0, constants=CONSTANTS))
    assert ours == pytest.approx(0.25 * np.sqrt(1 - 0.3145), abs=0.005)


@steady
@given(length=st.floats(min_value=14, max_value=40), power=st.floats(min_value=30, max_value=60))
def test_outside_the_spread_reaches_the_clamped_value(length: float, power: float) -> None:
    ours = float(bag_diameter_mm(axial_length_mm=length, k_mean_d=power, constants=CONSTANTS))
    spread = float(bag_diameter_sd_mm(axial_length_mm=length, k_mean_d=power, constants=CONSTANTS))
    clamped = float(bag_diameter_mm(axial_length_mm=min(max(length, 20), 27), k_mean_d=power, constants=CONSTANTS))
    assert abs(ours - clamped) <= spread
    assert spread >= 0.21
    assert (spread > 0.21 + 1e-9) == (abs(ours - clamped) > 1e-4) or abs(ours - clamped) < 1e-4


def test_arrays_missing_values_and_impossible_ones() -> None:
    ours = bag_diameter_mm(axial_length_mm=np.array([24.0, np.nan]), k_mean_d=43.0, constants=CONSTANTS)
    assert isinstance(ours, np.ndarray)
    assert np.isnan(ours).tolist() == [False, True]
    with pytest.raises(InvalidInput) as raised:
        bag_diameter_mm(axial_length_mm=24.0, k_mean_d=0.0, constants=CONSTANTS)
    assert raised.value.field == "k_mean_d"
