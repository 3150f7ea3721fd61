"""The circle about a point, and how far the opening reaches one way: against linear programming and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from forestay.errors import InvalidInput
from forestay.frame import mirror_hour
from forestay.mechanics.expander_view import circle_about_mm, reach_towards_mm
from forestay.mechanics.pupil import evenly_spaced_clocks, opening

steady = settings(deadline=None, derandomize=True, max_examples=60)
SQUARE = (1.5, 4.5, 7.5, 10.5)


@pytest.mark.parametrize("count", [3, 4, 5, 6, 8])
def test_about_the_centre_it_is_the_inscribed_circle(count: int) -> None:
    # derived: n hooks at reach a, inscribed diameter 2 a cos(pi / n)
    clocks = evenly_spaced_clocks(count, 1.0)
    found = circle_about_mm(clocks=clocks, reach_mm=[3.5] * count, pupil_mm=2.0)
    assert found == pytest.approx(7.0 * np.cos(np.pi / count), abs=1e-12)


def test_a_displaced_lens_sees_twice_less_than_its_offset_towards_a_side() -> None:
    # geometry of a square of side 5: about a point 0.5 mm towards a side, 2 (2.5 - 0.5)
    keys = {"clocks": SQUARE, "reach_mm": [12.5**0.5] * 4, "pupil_mm": 3.0}
    assert circle_about_mm(**keys, centre_clock=3, centre_offset_mm=0.5) == pytest.approx(4.0, abs=1e-12)
    assert circle_about_mm(**keys, centre_clock=3, centre_offset_mm=2.6) == 0.0


def test_square_and_diamond_reach_as_worked_out() -> None:
    # the mechanics evidence: reach towards the incision 2.50 v 3.54 for R 3.54
    for clocks, expected in ((SQUARE, 2.503), ((12.0, 3.0, 6.0, 9.0), 3.54)):
        found = reach_towards_mm(clocks=clocks, reach_mm=[3.54] * 4, pupil_mm=3.0, towards_clock=12)
        assert found == pytest.approx(expected, abs=1e-3)


def hull_of(clocks: list[float], reach: list[float], pupil: float) -> ConvexHull:
    """The opening as a convex hull of points; the disc as a fine polygon."""
    angle = np.radians(90 - 30 * np.array(clocks))
    points = np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])
    disc = float(opening(clocks=clocks, reach_mm=reach, pupil_mm=pupil, corner_radius_mm=0.0).disc_mm)
    if disc:
        turn = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
        points = np.concatenate([points, disc / 2 * np.column_stack([np.cos(turn), np.sin(turn)])])
    return ConvexHull(points)


@steady
@given(
    st.lists(st.tuples(st.integers(0, 47), st.floats(0.8, 4.5)), min_size=1, max_size=7, unique_by=lambda h: h[0]),
    st.floats(1.0, 6.0),
    st.floats(0, 12),
    st.floats(0, 2),
)
def test_both_agree_with_a_convex_hull_of_points(
    hooks: list[tuple[int, float]], pupil: float, clock: float, offset: float
) -> None:
    clocks, reach = [h / 4 or 12.0 for h, _ in hooks], [r for _, r in hooks]
    sides = hull_of(clocks, reach, pupil).equations
    angle = np.radians(90 - 30 * clock)
    towards = np.array([np.cos(angle), np.sin(angle)])
    room = (-sides[:, 2] - sides[:, :2] @ (offset * towards)).min()
    found = circle_about_mm(clocks=clocks, reach_mm=reach, pupil_mm=pupil, centre_clock=clock, centre_offset_mm=offset)
    assert found == pytest.approx(2 * max(room, 0), abs=2e-6)
    along = sides[:, :2] @ towards
    ray = (-sides[along > 1e-9, 2] / along[along > 1e-9]).min()
    far = reach_towards_mm(clocks=clocks, reach_mm=reach, pupil_mm=pupil, towards_clock=clock)
    assert far == pytest.approx(ray, abs=2e-6)


@steady
@given(
    st.lists(st.tuples(st.integers(1, 48), st.floats(0.8, 4.5)), min_size=0, max_size=8, unique_by=lambda h: h[0]),
    st.floats(1.0, 6.0),
    st.integers(1, 48),
    st.floats(0, 2),
)
def test_never_more_than_the_free_circle_and_the_mirror_image_alike(
    hooks: list[tuple[int, float]], pupil: float, clock: int, offset: float
) -> None:
    clocks, reach = [h / 4 for h, _ in hooks], [r for _, r in hooks]
    keys = {"reach_mm": reach, "pupil_mm": pupil, "centre_offset_mm": offset}
    found = circle_about_mm(clocks=clocks, centre_clock=clock / 4, **keys)
    other = circle_about_mm(clocks=[mirror_hour(c) for c in clocks], centre_clock=mirror_hour(clock / 4), **keys)
    free = opening(clocks=clocks, reach_mm=reach, pupil_mm=pupil, corner_radius_mm=0.0).largest_circle_mm
    assert found == other
    assert 0 <= found <= free + 1e-9


def test_draws_stand_on_the_last_axis_and_a_missing_one_stays_missing() -> None:
    pupil = np.array([2.0, np.nan, 6.0])
    found = circle_about_mm(clocks=SQUARE, reach_mm=[3.5] * 4, pupil_mm=pupil)
    far = reach_towards_mm(clocks=SQUARE, reach_mm=[3.5] * 4, pupil_mm=pupil, towards_clock=12)
    for values in (found, far):
        assert np.isnan(values).tolist() == [False, True, False]
    single = [circle_about_mm(clocks=SQUARE, reach_mm=[3.5] * 4, pupil_mm=p) for p in (2.0, 6.0)]
    assert found[[0, 2]].tolist() == single


def test_a_negative_offset_is_refused() -> None:
    with pytest.raises(InvalidInput, match="centre_offset_mm is -1"):
        circle_about_mm(clocks=SQUARE, reach_mm=[3.5] * 4, pupil_mm=3.0, centre_offset_mm=-1)
