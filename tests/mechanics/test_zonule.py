"""Zonule constants, directions by clock hour."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.evidence import default_evidence
from forestay.frame import HOURS, angle_deg, mirror_hour
from forestay.mechanics import zonule
from forestay.mechanics.zonule import ZonuleConstants


@pytest.fixture(scope="module")
def constants() -> ZonuleConstants:
    return default_evidence().reader().constants(ZonuleConstants)


@pytest.mark.parametrize(("age_years", "mn_per_mm"), [(60, 14.2), (73, 10.6), (90, 9.5)])
def test_stiffness_at_the_measured_ages(constants: ZonuleConstants, age_years: float, mn_per_mm: float) -> None:
    # secant 0-0.65 mm of 9.2, 6.9, 6.2 mN (11 donor eyes, 2011 abstract), printed to one decimal
    found = zonule.total_stiffness_mn_per_mm(age_years=age_years, constants=constants)
    assert found == pytest.approx(mn_per_mm, abs=0.05)
    assert zonule.age_doubts(age_years=age_years, constants=constants) == []


@settings(deadline=None, derandomize=True)
@given(age=st.floats(0, 119), more=st.floats(0, 1))
def test_stiffness_never_rises_with_age(age: float, more: float) -> None:
    constants = default_evidence().reader().constants(ZonuleConstants)
    younger = zonule.total_stiffness_mn_per_mm(age_years=age, constants=constants)
    assert zonule.total_stiffness_mn_per_mm(age_years=age + more, constants=constants) <= younger


@pytest.mark.parametrize(("age_years", "nearest"), [(12, 60), (59.9, 60), (90.1, 90), (101, 90)])
def test_outside_the_measured_ages_the_nearest_is_used_and_said(
    constants: ZonuleConstants, age_years: float, nearest: float
) -> None:
    found = zonule.total_stiffness_mn_per_mm(age_years=age_years, constants=constants)
    assert found == zonule.total_stiffness_mn_per_mm(age_years=nearest, constants=constants)
    assert [d.code for d in zonule.age_doubts(age_years=age_years, constants=constants)] == ["outside-studied-range"]


def test_resting_load_is_stiffness_times_stretch_over_twelve(constants: ZonuleConstants) -> None:
    springs = zonule.parameters(bag_diameter_mm=10.0, age_years=73, constants=constants)
    # 6.9 mN / 0.65 mm * 0.2 mm / 12
    assert springs.resting_load_mn == pytest.approx(6.9 / 0.65 * 0.2 / 12, rel=1e-12)


@pytest.mark.parametrize("hour", [*HOURS, 0.5, 1.37, 7.8, 11.99])
def test_directions_agree_with_the_frame(hour: float) -> None:
    # meaning of clock hours: forestay.frame.angle_deg
    angle = np.radians(angle_deg(hour))
    assert zonule.direction(hour) == pytest.approx((np.cos(angle), np.sin(angle)), abs=1e-15)


@settings(deadline=None, derandomize=True)
@given(st.integers(1, 12 * 2**24))
def test_mirrored_directions_are_equal_to_the_last_bit(steps: int) -> None:
    hour = steps / 2**24
    x, y = zonule.direction(hour)
    mirrored_x, mirrored_y = zonule.direction(mirror_hour(hour))
    assert (mirrored_x, mirrored_y) == (-x, y)


@settings(deadline=None, derandomize=True)
@given(x=st.floats(-2, 2), y=st.floats(-2, 2))
def test_clock_of_inverts_direction_and_mirrors_exactly(x: float, y: float) -> None:
    if np.hypot(x, y) < 1e-6:
        return
    hour = zonule.clock_of(x, y)
    assert 0 < hour <= 12
    assert zonule.direction(hour) == pytest.approx((x / np.hypot(x, y), y / np.hypot(x, y)), abs=1e-7)
    if x != 0:
        assert zonule.clock_of(-x, y) == mirror_hour(hour)
