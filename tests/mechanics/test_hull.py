"""The hull of a disc and corners, against a general convex hull and a linear program on finely cut outlines."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from forestay.errors import InvalidInput
from forestay.mechanics.hull import Hull, goes_round, hull_of_disc

CUTS = 20_000
"""Corners by which the reference cuts a circle; a chord misses its arc by r (2 pi / CUTS)^2 / 8, below 1e-7 mm."""


def hull_at(angle: Any, distance: Any, disc: float, rounding: float = 0.0) -> Hull:
    """One hull."""
    return hull_of_disc(
        angle_rad=np.asarray(angle, dtype=float)[:, np.newaxis],
        distance_mm=np.asarray(distance, dtype=float)[:, np.newaxis],
        disc_radius_mm=np.array([disc]),
        corner_radius_mm=rounding,
    )


def outline(angle: Any, distance: Any, disc: float) -> Any:
    """The same body as a cloud of points."""
    turn = np.linspace(0, 2 * np.pi, CUTS, endpoint=False)
    corners = np.column_stack([distance * np.cos(angle), distance * np.sin(angle)])
    return np.vstack([disc * np.column_stack([np.cos(turn), np.sin(turn)]), corners])


def circle_by_linear_program(angle: Any, distance: Any, disc: float) -> float:
    """Largest circle inside, from the body's extent in 4,000 directions and those of its own sides."""
    hull = ConvexHull(outline(angle, distance, disc))
    rows = hull.equations[:: max(1, len(hull.equations) // 4000)]
    sides = np.vstack([rows, hull.equations[_sides(hull)]])
    solved = linprog(
        [0, 0, -1],
        A_ub=np.column_stack([sides[:, :2], np.ones(len(sides))]),
        b_ub=-sides[:, 2],
        bounds=[(None, None), (None, None), (0, None)],
    )
    return float(-solved.fun)


def _sides(hull: Any) -> Any:
    """The facets longer than a cut of the circle: the straight sides."""
    ends = hull.points[hull.simplices]
    return np.hypot(*(ends[:, 0] - ends[:, 1]).T) > 0.01


def cases() -> list[tuple[Any, Any, float]]:
    """Corners scattered all round, on one side, inside one another, with and without a disc."""
    source = np.random.default_rng(7)
    found = []
    for count in (1, 2, 3, 4, 5, 8):
        for share in (0.4, 0.55, 1.0, 1.0):
            angle = source.uniform(0, 2 * np.pi) + source.uniform(0, 2 * np.pi * share, count)
            if share == 1:
                angle = angle[0] + 2 * np.pi / count * (np.arange(count) + source.uniform(-0.4, 0.4, count))
            distance = source.uniform(1.2, 5.0, count)
            round_centre = goes_round(angle_rad=angle[:, np.newaxis])[0]
            found += [(angle, distance, disc) for disc in (0.0, 1.5, 2.6) if disc or round_centre]
    return found


@pytest.mark.parametrize(("angle", "distance", "disc"), cases())
def test_length_area_and_circle_equal_a_general_hull(angle: Any, distance: Any, disc: float) -> None:
    ours = hull_at(angle, distance, disc)
    reference = ConvexHull(outline(angle, distance, disc))
    assert ours.perimeter_mm[0] == pytest.approx(reference.area, abs=2e-6)
    assert ours.area_mm2[0] == pytest.approx(reference.volume, abs=2e-6)
    assert ours.circle_radius_mm[0] == pytest.approx(circle_by_linear_program(angle, distance, disc), abs=2e-5)
    on_hull = set((reference.vertices - CUTS)[reference.vertices >= CUTS].tolist())
    assert set(np.flatnonzero(ours.on_hull[:, 0]).tolist()) == on_hull


def test_the_cases_cover_taut_loose_and_one_sided_hulls() -> None:
    worked = [(disc, hull_at(angle, distance, disc)) for angle, distance, disc in cases()]
    assert sum(disc == 0 for disc, _ in worked) >= 6
    assert sum(disc > 0 and hull.circle_radius_mm[0] == disc for disc, hull in worked) >= 6
    assert sum(hull.circle_radius_mm[0] > disc > 0 for disc, hull in worked) >= 6
    assert sum(not hull.on_hull.all() for _, hull in worked) >= 6


def test_draws_together_equal_draws_alone() -> None:
    source = np.random.default_rng(3)
    angle, distance = source.uniform(0, 2 * np.pi, (6, 40)), source.uniform(1.0, 5.0, (6, 40))
    disc = np.where(goes_round(angle_rad=angle), 0.0, 1.4)
    together = hull_of_disc(angle_rad=angle, distance_mm=distance, disc_radius_mm=disc, corner_radius_mm=0.0)
    for i in range(40):
        alone = hull_at(angle[:, i], distance[:, i], float(disc[i]))
        assert together.perimeter_mm[i] == alone.perimeter_mm[0]
        assert together.area_mm2[i] == alone.area_mm2[0]
        assert together.circle_radius_mm[i] == alone.circle_radius_mm[0]


def test_rounding_takes_the_corners_only() -> None:
    # rounded outline = hull of circles of the rounding's radius at the inset corners, cut finely
    corners = np.radians([20.0, 100.0, 190.0, 300.0])
    distance = np.array([3.0, 4.0, 3.5, 4.2])
    radius = 0.25
    points = np.column_stack([distance * np.cos(corners), distance * np.sin(corners)])
    along = np.roll(points, -1, axis=0) - points
    along /= np.hypot(*along.T)[:, np.newaxis]
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    offset = np.sum(normal * points, axis=1) - radius
    inset = [np.linalg.solve(normal[[i - 1, i]], offset[[i - 1, i]]) for i in range(4)]
    turn = np.linspace(0, 2 * np.pi, CUTS, endpoint=False)
    circle = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    reference = ConvexHull(np.vstack([point + circle for point in inset]))
    ours = hull_at(corners, distance, 0.0, radius)
    assert ours.perimeter_mm[0] == pytest.approx(reference.area, abs=1e-6)
    assert ours.area_mm2[0] == pytest.approx(reference.volume, abs=1e-6)


@pytest.mark.parametrize("disc", [0.0, 2.0])
def test_a_rounding_that_eats_up_a_side_is_refused(disc: float) -> None:
    corners = np.radians([0.0, 20.0, 120.0, 240.0])
    with pytest.raises(InvalidInput) as raised:
        hull_at(corners, [3.0, 3.0, 3.0, 3.0], disc, 2.0)
    assert raised.value.field == "corner_radius_mm"


def test_going_round_needs_a_corner_in_every_half() -> None:
    degrees = np.array([[0.0, 0.0, 0.0, 10.0], [120.0, 90.0, 180.0, 20.0], [240.0, 179.0, 270.0, 30.0]])
    assert goes_round(angle_rad=np.radians(degrees)).tolist() == [True, False, False, False]
    assert goes_round(angle_rad=np.zeros((2, 3))).tolist() == [False] * 3
