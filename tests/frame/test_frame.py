"""Clock hours, meridians and the mirror between the eyes.

Expected values follow from the definition: 12 superior, 3 at the examiner's right, whichever eye; meridians run from
the examiner's right, counter-clockwise, so 3 o'clock is 0 degrees, 12 o'clock 90, and 10:30 135.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.frame import (
    HOURS,
    angle_deg,
    hour_distance,
    meridian_deg,
    mirror_axis,
    mirror_by_hour,
    mirror_hour,
    temporal_hour,
    wrap_hour,
)

steady = settings(deadline=None, derandomize=True)
dyadic_hours = st.integers(min_value=1, max_value=12 * 64).map(lambda n: n / 64)
"""Clock positions that a binary number holds exactly: the mirror must be exact on them."""
any_hours = st.floats(min_value=-50, max_value=50)
dyadic_axes = st.integers(min_value=0, max_value=180 * 16).map(lambda n: n / 16)


@pytest.mark.parametrize(
    ("hour", "meridian", "angle"),
    [
        (12, 90, 90),
        (1, 60, 60),
        (1.5, 45, 45),
        (3, 0, 0),
        (4.5, 135, 315),
        (6, 90, 270),
        (7.5, 45, 225),
        (9, 0, 180),
        (10.5, 135, 135),
        (11, 120, 120),
    ],
)
def test_meridians_and_directions_of_the_clock(hour: float, meridian: float, angle: float) -> None:
    assert meridian_deg(hour) == meridian
    assert angle_deg(hour) == angle


def test_the_order_of_lists_by_clock_hour() -> None:
    assert HOURS == (12, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11)


def test_temporal_lies_at_the_examiner_s_left_of_a_right_eye() -> None:
    assert temporal_hour("right") == 9
    assert temporal_hour("left") == 3
    assert mirror_hour(temporal_hour("right")) == temporal_hour("left")


@pytest.mark.parametrize(
    ("hour", "wrapped"), [(12, 12), (0, 12), (24, 12), (13.5, 1.5), (-1, 11), (0.25, 0.25), (-12, 12), (6, 6)]
)
def test_wrapping(hour: float, wrapped: float) -> None:
    assert wrap_hour(hour) == wrapped


@steady
@given(hour=any_hours)
def test_a_wrapped_hour_stands_on_the_dial(hour: float) -> None:
    wrapped = wrap_hour(hour)
    assert 0 < wrapped <= 12
    assert wrap_hour(wrapped) == wrapped
    assert math.isclose(math.cos(math.pi * wrapped / 6), math.cos(math.pi * hour / 6), abs_tol=1e-9)
    assert math.isclose(math.sin(math.pi * wrapped / 6), math.sin(math.pi * hour / 6), abs_tol=1e-9)


@steady
@given(hour=dyadic_hours)
def test_the_mirror_of_an_hour_is_exact_and_undoes_itself(hour: float) -> None:
    assert mirror_hour(mirror_hour(hour)) == hour
    assert wrap_hour(mirror_hour(hour) + hour) == 12
    ours, other = math.radians(angle_deg(hour)), math.radians(angle_deg(mirror_hour(hour)))
    assert math.isclose(math.cos(other), -math.cos(ours), abs_tol=1e-12)
    assert math.isclose(math.sin(other), math.sin(ours), abs_tol=1e-12)


@steady
@given(axis=dyadic_axes)
def test_the_mirror_of_an_axis_is_exact_and_undoes_itself(axis: float) -> None:
    mirrored = mirror_axis(axis)
    assert 0 < mirrored <= 180
    assert mirror_axis(mirrored) == (axis or 180)


@steady
@given(hour=dyadic_hours)
def test_meridian_and_mirror_agree(hour: float) -> None:
    assert mirror_axis(meridian_deg(hour)) % 180 == meridian_deg(mirror_hour(hour))


@steady
@given(hour=any_hours)
def test_a_meridian_is_a_direction_without_its_sense(hour: float) -> None:
    assert 0 <= meridian_deg(hour) < 180
    assert 0 <= angle_deg(hour) < 360
    apart = abs(angle_deg(hour) - meridian_deg(hour))
    assert min(abs(apart - turn) for turn in (0, 180, 360)) < 1e-9


@pytest.mark.parametrize("whole", [0, 3, 6, 9, 12])
def test_a_hair_beside_a_whole_hour_stays_in_range(whole: int) -> None:
    for hour in (math.nextafter(whole, 100), math.nextafter(whole, -100)):
        assert 0 <= meridian_deg(hour) < 180
        assert 0 <= angle_deg(hour) < 360
        assert 0 < wrap_hour(hour) <= 12


@steady
@given(values=st.lists(st.integers(), min_size=12, max_size=12))
def test_a_list_by_clock_hour_mirrors_hour_by_hour(values: list[int]) -> None:
    mirrored = mirror_by_hour(values)
    by_hour = dict(zip(HOURS, values, strict=True))
    assert dict(zip(HOURS, mirrored, strict=True)) == {hour: by_hour[int(mirror_hour(hour))] for hour in HOURS}
    assert mirror_by_hour(mirrored) == tuple(values)


@steady
@given(a=dyadic_hours, b=dyadic_hours)
def test_distance_on_the_dial(a: float, b: float) -> None:
    assert 0 <= hour_distance(a, b) <= 6
    assert hour_distance(a, b) == hour_distance(b, a) == hour_distance(mirror_hour(a), mirror_hour(b))
    assert (hour_distance(a, b) == 0) == (a == b)


@pytest.mark.parametrize(("a", "b", "distance"), [(12, 1, 1), (11, 1, 2), (12, 6, 6), (9, 3, 6), (11.5, 0.5, 1)])
def test_distances_by_hand(a: float, b: float, distance: float) -> None:
    assert hour_distance(a, b) == distance
