"""Contact with the moving wall: its geometry, laws and derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.mechanics.loop import station_directions
from forestay.mechanics.ring_contact import (
    Friction,
    contact_terms,
    drag_terms,
    feet,
    friction_law,
    friction_terms,
    push,
    slip,
    wall_at,
)

WALL = 5.0 * station_directions(72) + 0.05 * np.random.default_rng(0).normal(size=(2, 72))


def points(count: int = 9, seed: int = 1) -> np.ndarray:
    """Points about the wall, inside and outside."""
    draw = np.random.default_rng(seed)
    angle = draw.uniform(0, 2 * np.pi, count)
    return (5.0 + draw.uniform(-0.2, 0.05, count)) * np.stack([np.cos(angle), np.sin(angle)])


@settings(deadline=None, derandomize=True, max_examples=60)
@given(place=st.floats(-100, 200))
def test_weights_of_the_wall_add_up(place: float) -> None:
    station, share, slope = wall_at(np.array([place]), 72)
    assert share.sum() == pytest.approx(1, abs=1e-12)
    assert slope.sum() == pytest.approx(0, abs=1e-12)
    assert share.min() >= 0
    assert station.min() >= 0
    assert station.max() < 72


def test_foot_is_the_nearest_point_of_the_wall() -> None:
    at = points(200)
    found = feet(at, WALL)
    station, share, _ = wall_at(np.linspace(0, 72, 20001), 72)
    curve = (WALL[:, station] * share).sum(axis=1)
    nearest = np.hypot(at[0][:, None] - curve[0], at[1][:, None] - curve[1]).min(axis=1)
    # the sampled curve is never nearer, and further by no more than half a sample's spacing along it allows
    half = 0.5 * 2 * np.pi * 5.2 / 20000
    assert np.all(nearest >= np.abs(found.gap_mm) - 1e-9)
    assert np.all(nearest**2 <= found.gap_mm**2 + (1.5 * half) ** 2)
    inside = np.hypot(*at) < 4.85
    assert np.all(found.gap_mm[inside] > 0)


def test_gap_on_a_circle_is_the_difference_of_radii() -> None:
    # the spline of a polygon of N stations lies R (1 - cos(2 pi / N)) / 4 inside it, at the stations
    wall = 5.0 * station_directions(288)
    angle = np.linspace(0, 2 * np.pi, 37)
    found = feet(4.9 * np.stack([np.cos(angle), np.sin(angle)]), wall)
    assert found.gap_mm == pytest.approx(np.full(37, 0.1), abs=5.0 * (2 * np.pi / 288) ** 2 / 8 * 1.1)


def _moved(at: np.ndarray, wall: np.ndarray, station: np.ndarray, by: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """One point and its three stations moved by ``by`` (8,)."""
    new_wall = wall.copy()
    new_wall[:, station] += by[2:].reshape(3, 2).T
    return at + by[:2, None], new_wall


@pytest.mark.parametrize("seed", range(6))
def test_contact_derivatives_equal_central_differences(seed: int) -> None:
    at = points(1, seed) * 1.01  # pressed into the wall
    found = feet(at, WALL)
    which = np.array([0])
    _, force, stiff = push(found.gap_mm)
    slope, curve = contact_terms(found, which, force, stiff)
    if force[0] == 0:
        assert not slope.any()
        return
    # the wall bends with the place of the foot, so the three stations only while it stays in its cell
    assert 0.01 < found.place[0] % 1 < 0.99
    step = 1e-5

    def energy(by: np.ndarray) -> float:
        new, wall = _moved(at, WALL, found.station[:, 0], by)
        return float(push(feet(new, wall, found.place).gap_mm)[0].sum())

    def gradient(by: np.ndarray) -> np.ndarray:
        new, wall = _moved(at, WALL, found.station[:, 0], by)
        there = feet(new, wall, found.place)
        _, f, k = push(there.gap_mm)
        return contact_terms(there, which, f, k)[0][:, 0]

    for row in range(8):
        by = np.zeros(8)
        by[row] = step
        assert (energy(by) - energy(-by)) / (2 * step) == pytest.approx(slope[row, 0], abs=1e-6)
        assert (gradient(by) - gradient(-by)) / (2 * step) == pytest.approx(curve[0, :, row], abs=2e-4)


def test_push_is_none_inside_and_grows_with_depth() -> None:
    energy, force, stiff = push(np.array([0.5, 1e-9, 0.0, -0.01, -0.04, -0.1]))
    assert force[:3].tolist() == [0, 0, 0]
    assert energy[:3].tolist() == [0, 0, 0]
    assert stiff[:2].tolist() == [0, 0]
    assert np.all(np.diff(force[2:]) > 0)


@pytest.mark.parametrize("moving", [False, True])
def test_friction_never_exceeds_its_limit_and_has_the_right_derivatives(moving: bool) -> None:
    at = points(5)
    found = feet(at, WALL)
    along = found.tangent / np.hypot(*found.tangent)
    rub = Friction(np.full(5, 0.3), along, found.station, found.share, moving)
    shifted = at + 0.02 * np.random.default_rng(5).normal(size=at.shape)
    moved = slip(shifted, WALL, rub)
    _, force, stiff = friction_law(moved, rub)
    assert np.abs(force).max() <= 0.3
    slope, curve = friction_terms(rub, np.arange(5), force, stiff)
    step = 1e-6
    up = slip(shifted + np.array([[step], [0]]), WALL, rub)
    down = slip(shifted - np.array([[step], [0]]), WALL, rub)
    energy_slope = (friction_law(up, rub)[0] - friction_law(down, rub)[0]) / (2 * step)
    assert energy_slope == pytest.approx(slope[0], abs=1e-8)
    force_slope = (friction_law(up, rub)[1] - friction_law(down, rub)[1]) / (2 * step) * along[0]
    assert force_slope == pytest.approx(curve[:, 0, 0], abs=1e-6)


def test_no_slip_where_the_points_were_laid() -> None:
    at = 5.0 * station_directions(36)
    found = feet(at, WALL)
    along = found.tangent / np.hypot(*found.tangent)
    rub = Friction(np.ones(36), along, found.station, found.share, False)
    assert slip(found.foot_mm, WALL, rub) == pytest.approx(np.zeros(36), abs=1e-12)
    assert friction_law(np.array([10.0]), rub)[1][0] == pytest.approx(1, abs=1e-5)  # Coulomb, fully mobilised


def test_drag_acts_on_the_point_and_back_on_the_wall() -> None:
    at = points(4)
    found = feet(at, WALL)
    along = found.tangent / np.hypot(*found.tangent)
    rub = Friction(np.ones(4), along, found.station, found.share, True)
    grows = drag_terms(found, rub, np.arange(4), np.full(4, 2.0))
    # what the point feels, the three stations feel the other way; moving point and wall together changes nothing
    assert grows[:, 0::2].sum(axis=1) == pytest.approx(np.zeros((4, 8)), abs=1e-12)
    assert grows[:, :, 0::2].sum(axis=2) == pytest.approx(np.zeros((4, 8)), abs=1e-12)
