"""Girth of an ellipse and largest circle inside straight sides, against scipy and published tables."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.special import ellipe

from forestay.errors import InvalidInput
from forestay.mechanics.geometry import CHUNK_LIMIT_DRAWS, ellipse_perimeter_mm, largest_circle_radius_mm

sizes = st.floats(min_value=0.1, max_value=20.0)
steady = settings(deadline=None, derandomize=True)


def reference_perimeter(diameter: Any, thickness: Any) -> Any:
    """4 a E(m), the complete elliptic integral of the second kind of scipy."""
    a, b = np.maximum(diameter, thickness) / 2, np.minimum(diameter, thickness) / 2
    return 4 * a * ellipe(1 - (b / a) ** 2)


def test_the_perimeter_equals_the_elliptic_integral() -> None:
    diameter = np.geomspace(1e-3, 1e3, 121)[:, np.newaxis]
    thickness = np.geomspace(1e-3, 1e3, 121)[np.newaxis, :]
    ours = ellipse_perimeter_mm(diameter_mm=diameter, thickness_mm=thickness)
    np.testing.assert_allclose(ours, reference_perimeter(diameter, thickness), rtol=1e-12)


@pytest.mark.parametrize(
    ("diameter", "thickness", "perimeter"),
    [  # table of girths worked out with the elliptic integral, printed to 0.01 mm
        (7.0, 3.5, 16.95),
        (7.5, 4.0, 18.48),
        (8.0, 4.0, 19.38),
        (8.5, 4.5, 20.91),
        (9.0, 4.5, 21.80),
        (9.5, 5.5, 23.98),
        (7.89, 3.53, 18.60),
        (8.65, 4.01, 20.56),
    ],
)
def test_the_perimeter_of_nuclei(diameter: float, thickness: float, perimeter: float) -> None:
    ours = ellipse_perimeter_mm(diameter_mm=diameter, thickness_mm=thickness)
    assert isinstance(ours, float)
    assert ours == pytest.approx(perimeter, abs=0.005)


def test_ramanujan_s_second_formula_is_as_close_as_published() -> None:
    # Ramanujan 1914: pi (a + b) (1 + 3 h / (10 + sqrt(4 - 3 h))); worst relative error 7.4e-8 for T/D 0.3 to 1
    a, b = 1.0, np.linspace(0.3, 1.0, 200)
    h = ((a - b) / (a + b)) ** 2
    near = np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    exact = np.asarray(ellipse_perimeter_mm(diameter_mm=2 * a, thickness_mm=2 * b))
    worst = np.max(np.abs(near / exact - 1))
    assert 6.5e-8 < worst < 7.5e-8


@steady
@given(diameter=sizes, thickness=sizes, factor=st.floats(min_value=0.5, max_value=2.0))
def test_the_perimeter_scales_and_does_not_mind_the_order(diameter: float, thickness: float, factor: float) -> None:
    ours = float(ellipse_perimeter_mm(diameter_mm=diameter, thickness_mm=thickness))
    assert ours == ellipse_perimeter_mm(diameter_mm=thickness, thickness_mm=diameter)
    scaled = float(ellipse_perimeter_mm(diameter_mm=factor * diameter, thickness_mm=factor * thickness))
    assert scaled == pytest.approx(factor * ours, rel=1e-13)
    assert 2 * max(diameter, thickness) < ours <= np.pi * max(diameter, thickness) * (1 + 1e-14)
    assert float(ellipse_perimeter_mm(diameter_mm=diameter, thickness_mm=1.1 * thickness)) > ours


def test_a_circle_is_exact_and_a_missing_value_stays_missing() -> None:
    ours = ellipse_perimeter_mm(diameter_mm=np.array([8.0, np.nan]), thickness_mm=8.0)
    assert isinstance(ours, np.ndarray)
    assert ours[0] == pytest.approx(8 * np.pi, rel=1e-15)
    assert np.isnan(ours[1])


@pytest.mark.parametrize("bad", [0.0, -3.0, np.array([3.0, -1.0])])
def test_an_impossible_size_is_named(bad: Any) -> None:
    with pytest.raises(InvalidInput) as raised:
        ellipse_perimeter_mm(diameter_mm=7.13, thickness_mm=bad)
    assert raised.value.field == "thickness_mm"
    assert raised.value.value == np.min(bad)


def sides_of(corners: Any) -> tuple[Any, Any, Any]:
    """Outward normals and offsets of a polygon given counter-clockwise."""
    points = np.asarray(corners, dtype=float)
    along = np.roll(points, -1, axis=0) - points
    normal = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, np.newaxis]
    return normal[:, :1], normal[:, 1:], np.sum(normal * points, axis=1)[:, np.newaxis]


def radius_of(corners: Any) -> float:
    """Largest circle inside a polygon."""
    x, y, offset = sides_of(corners)
    return float(largest_circle_radius_mm(normal_x=x, normal_y=y, offset_mm=offset)[0])


@pytest.mark.parametrize(
    ("corners", "radius"),
    [
        ([(0, 0), (4, 0), (0, 3)], 1.0),  # the 3-4-5 triangle: area / half its perimeter
        ([(0, 0), (7, 0), (7, 2), (0, 2)], 1.0),  # a rectangle: half its height, wherever along it
        ([(-2.5, -2.5), (2.5, -2.5), (2.5, 2.5), (-2.5, 2.5)], 2.5),
        ([(0, 0), (2, 0), (1, 3**0.5)], 3**-0.5),  # equilateral: side / (2 sqrt 3)
    ],
)
def test_the_largest_circle_of_known_polygons(corners: Any, radius: float) -> None:
    assert radius_of(corners) == pytest.approx(radius, rel=1e-12)


def test_the_largest_circle_equals_a_linear_program() -> None:
    source = np.random.default_rng(20)
    for count in (3, 4, 5, 6, 8, 11):
        for _ in range(8):
            angle = np.sort(source.uniform(0, 2 * np.pi, count))
            stretch = source.uniform(0.5, 2.0)
            corners = np.column_stack([3 * np.cos(angle), 3 * stretch * np.sin(angle)])
            x, y, offset = sides_of(corners)
            solved = linprog(
                [0, 0, -1],
                A_ub=np.column_stack([x, y, np.ones(count)]),
                b_ub=offset[:, 0],
                bounds=[(None, None), (None, None), (0, None)],
            )
            assert radius_of(corners) == pytest.approx(-solved.fun, abs=1e-9)


def test_many_draws_are_each_worked_out_alone_and_void_sides_do_not_count() -> None:
    draws = CHUNK_LIMIT_DRAWS + 7
    side = np.linspace(1.0, 5.0, draws)
    x = np.repeat([[1.0], [0.0], [-1.0], [0.0], [0.0]], draws, axis=1)
    y = np.repeat([[0.0], [1.0], [0.0], [-1.0], [0.0]], draws, axis=1)
    offset = np.concatenate([np.repeat(side[np.newaxis] / 2, 4, axis=0), np.full((1, draws), np.inf)])
    np.testing.assert_allclose(largest_circle_radius_mm(normal_x=x, normal_y=y, offset_mm=offset), side / 2, rtol=1e-15)


def test_fewer_than_three_sides_hold_no_circle() -> None:
    x, y = np.array([[1.0], [-1.0]]), np.zeros((2, 1))
    assert largest_circle_radius_mm(normal_x=x, normal_y=y, offset_mm=np.ones((2, 1)))[0] == -np.inf
