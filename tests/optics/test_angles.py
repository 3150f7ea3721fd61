"""Angles: exact where a surgeon expects it, and mirrored exactly."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.optics.angles import cos_sin_deg, meridian_deg


@pytest.mark.parametrize(
    ("angle", "pair"), [(0, (1, 0)), (90, (0, 1)), (180, (-1, 0)), (270, (0, -1)), (360, (1, 0)), (-90, (0, -1))]
)
def test_quarter_turns_are_exact(angle: float, pair: tuple[float, float]) -> None:
    assert cos_sin_deg(angle) == pair


@settings(deadline=None, derandomize=True)
@given(angle=st.floats(-720.0, 720.0))
def test_agrees_with_the_library(angle: float) -> None:
    cosine, sine = cos_sin_deg(angle)
    assert cosine == pytest.approx(np.cos(np.deg2rad(angle)), abs=1e-12)
    assert sine == pytest.approx(np.sin(np.deg2rad(angle)), abs=1e-12)


@settings(deadline=None, derandomize=True)
@given(axis=st.integers(0, 1800))
def test_the_mirror_is_exact(axis: int) -> None:
    doubled = axis / 5
    cosine, sine = cos_sin_deg(doubled)
    assert cos_sin_deg(360 - doubled) == pytest.approx((cosine, -sine), abs=1e-15)
    whole = round(doubled)
    assert cos_sin_deg(360 - whole) == (cos_sin_deg(whole)[0], -cos_sin_deg(whole)[1])


@pytest.mark.parametrize(("angle", "meridian"), [(0, 180), (180, 180), (190, 10), (-10, 170), (90, 90), (359, 179)])
def test_meridians_run_from_just_above_0_to_180(angle: float, meridian: float) -> None:
    assert meridian_deg(angle) == meridian
