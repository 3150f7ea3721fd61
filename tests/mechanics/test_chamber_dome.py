"""The nucleus under the cornea: against brute points of the ellipsoid, an optimiser, and closed forms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from forestay.errors import InvalidInput
from forestay.mechanics.chamber import ChamberConstants, needed_to_tip_mm
from forestay.mechanics.chamber_dome import best_sideways_mm, clearance_mm, fit, half_height_mm, inner_radius_mm

steady = settings(deadline=None, derandomize=True, max_examples=60)
DOME = 7.25
BODY = st.tuples(st.floats(5.0, 9.5), st.floats(2.0, 6.0))


def by_optimiser(wide: float, thick: float, depth: float, tilt: float, side: float) -> float:
    """The layer with the farthest point found by a general optimiser from many starts."""
    a, c, t = wide / 2, thick / 2, np.radians(tilt)

    def far(angles: Any) -> float:
        u, v = angles
        x, y, z = a * np.cos(u) * np.cos(v), a * np.cos(u) * np.sin(v), c * np.sin(u)
        across, along = x * np.cos(t) - z * np.sin(t) + side, x * np.sin(t) + z * np.cos(t) + DOME - depth
        return -float(across**2 + y**2 + along**2)

    starts = [(u, v) for u in (-1.2, -0.3, 0.3, 1.2) for v in (0.1, 1.6, 3.2, 4.8)]
    best = min(minimize(far, s, method="BFGS", options={"gtol": 1e-11}).fun for s in starts)
    return DOME - float(np.sqrt(-best))


@settings(deadline=None, derandomize=True, max_examples=25)
@given(BODY, st.floats(0, 5), st.one_of(st.just(0.0), st.just(90.0), st.floats(0, 90)), st.floats(-1.5, 1.5))
def test_the_farthest_point_is_that_of_a_general_optimiser(
    body: tuple[float, float], depth: float, tilt: float, side: float
) -> None:
    found = clearance_mm(
        nucleus_diameter_mm=body[0],
        nucleus_thickness_mm=body[1],
        dome_radius_mm=DOME,
        centre_depth_mm=depth,
        tilt_deg=tilt,
        sideways_mm=side,
    )
    assert found == pytest.approx(by_optimiser(*body, depth, tilt, side), abs=1e-6)


@steady
@given(st.floats(2, 6), st.floats(0, 6), st.floats(0, 90), st.floats(-2, 2))
def test_a_ball_has_the_closed_form(size: float, depth: float, tilt: float, side: float) -> None:
    found = clearance_mm(
        nucleus_diameter_mm=size,
        nucleus_thickness_mm=size,
        dome_radius_mm=DOME,
        centre_depth_mm=depth,
        tilt_deg=tilt,
        sideways_mm=side,
    )
    assert found == pytest.approx(DOME - np.hypot(DOME - depth, side) - size / 2, abs=1e-12)


@steady
@given(BODY, st.floats(0, 7.25))
def test_flat_on_the_axis_has_the_closed_form(body: tuple[float, float], depth: float) -> None:
    # greatest of (a cos u)^2 + (v + c sin u)^2: at the pole, or where sin u = c v / (a^2 - c^2)
    a, c, v = body[0] / 2, body[1] / 2, DOME - depth
    sine = c * v / (a**2 - c**2) if a > c else np.inf
    far = v + c if sine >= 1 else float(np.sqrt(a**2 * (1 - sine**2) + (v + c * sine) ** 2))
    found = clearance_mm(
        nucleus_diameter_mm=body[0],
        nucleus_thickness_mm=body[1],
        dome_radius_mm=DOME,
        centre_depth_mm=depth,
        tilt_deg=0.0,
    )
    assert found == pytest.approx(DOME - far, abs=1e-9)


@steady
@given(BODY, st.floats(0.5, 5), st.floats(1, 89), st.floats(0, 2))
def test_the_best_place_beats_its_neighbours(body: tuple[float, float], depth: float, tilt: float, far: float) -> None:
    keys = {
        "nucleus_diameter_mm": body[0],
        "nucleus_thickness_mm": body[1],
        "dome_radius_mm": DOME,
        "centre_depth_mm": depth,
        "tilt_deg": tilt,
    }
    side, layer = best_sideways_mm(**keys, furthest_mm=far)
    others = np.linspace(-far, far, 41)
    assert layer >= np.max(clearance_mm(**keys, sideways_mm=others)) - 1e-6
    assert abs(side) <= far + 1e-12
    mirrored = clearance_mm(**(keys | {"tilt_deg": -tilt}), sideways_mm=-others)
    assert mirrored == pytest.approx(clearance_mm(**keys, sideways_mm=others), abs=1e-12)


def test_half_the_height_of_a_tilted_body() -> None:
    # the mechanics evidence: H(q) = sqrt((D/2)^2 sin^2 q + (T/2)^2 cos^2 q)
    body = {"nucleus_diameter_mm": 8.0, "nucleus_thickness_mm": 4.0}
    assert half_height_mm(**body, tilt_deg=np.array([0.0, 90.0])) == pytest.approx([2.0, 4.0])
    assert inner_radius_mm(outer_radius_mm=7.8, corneal_thickness_um=550) == pytest.approx(7.25)


def room_for(room: float, **more: float) -> Any:
    keys: dict[str, Any] = {
        "nucleus_diameter_mm": 7.13,
        "nucleus_thickness_mm": 3.05,
        "dome_radius_mm": DOME,
        "room_mm": room,
        "front_layer_mm": 0.0,
        "behind_layer_mm": 0.0,
        "furthest_mm": 2.0,
    }
    return fit(**(keys | more))


def test_tipped_through_the_opening_it_needs_half_its_diameter_above_as_the_chamber_says() -> None:
    # the older rule asks D / 2 and 0.45 mm more for turning without extra stretch
    constants = ChamberConstants(ovd_gain_mm=0.9, tipping_extra_mm=0.45)
    needed = float(needed_to_tip_mm(nucleus_diameter_mm=7.13, nucleus_thickness_mm=3.05, constants=constants))
    assert room_for(needed).edge_in_opening_mm == pytest.approx(0.45, abs=1e-9)


def test_layers_before_and_behind_take_room_and_a_deeper_chamber_gives_it() -> None:
    plain, behind, deeper = room_for(3.6), room_for(3.6, behind_layer_mm=0.3), room_for(4.0)
    assert behind.flat_mm < plain.flat_mm < deeper.flat_mm
    assert plain.steepest_deg < deeper.steepest_deg
    assert room_for(3.6, front_layer_mm=0.3).steepest_deg < plain.steepest_deg
    assert np.isnan(room_for(3.0).steepest_deg)  # shallower than thick: not even flat


def test_a_chamber_deeper_than_the_dome_never_has_less_room() -> None:
    rooms = np.linspace(DOME - 1.5, DOME + 1.0, 11)
    found = room_for(rooms)  # type: ignore[arg-type]
    for values in (found.flat_mm, found.edge_in_opening_mm):
        assert np.all(np.diff(np.asarray(values)) >= -1e-9)


def test_a_ball_that_fits_turns_freely() -> None:
    found = room_for(5.0, nucleus_diameter_mm=4.0, nucleus_thickness_mm=4.0)
    assert (found.turns_freely, found.steepest_deg) == (1.0, 90.0)


def test_draws_are_the_single_answers_and_missing_ones_stay_missing() -> None:
    rooms = np.array([3.4, np.nan, 4.2])
    many = room_for(rooms)  # type: ignore[arg-type]
    for name in ("flat_mm", "steepest_deg", "turns_freely", "edge_in_opening_mm"):
        values = getattr(many, name)
        assert np.isnan(values[1])
        assert values[[0, 2]].tolist() == pytest.approx([getattr(room_for(r), name) for r in (3.4, 4.2)], abs=1e-9)


def test_random_eyes_never_give_a_missing_layer() -> None:
    draws = np.random.default_rng(4)
    found = fit(
        nucleus_diameter_mm=draws.uniform(4, 10, 400),
        nucleus_thickness_mm=draws.uniform(1.5, 7, 400),
        dome_radius_mm=draws.uniform(6, 8.5, 400),
        room_mm=draws.uniform(0, 6, 400),
        front_layer_mm=draws.uniform(0, 0.5, 400),
        behind_layer_mm=draws.uniform(0, 0.5, 400),
        furthest_mm=draws.uniform(0, 2, 400),
    )
    assert np.isfinite(found.flat_mm).all()
    assert np.isfinite(found.edge_in_opening_mm).all()
    assert set(np.unique(found.turns_freely)) <= {0.0, 1.0}


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"room_mm": -1.0}, "room_mm"),
        ({"front_layer_mm": -0.1}, "front_layer_mm"),
        ({"behind_layer_mm": -0.1}, "behind_layer_mm"),
        ({"furthest_mm": -0.1}, "furthest_mm"),
        ({"nucleus_diameter_mm": 0.0}, "nucleus_diameter_mm"),
        ({"dome_radius_mm": 0.0}, "dome_radius_mm"),
    ],
)
def test_bad_input_names_the_field(wrong: dict[str, float], field: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        room_for(wrong.pop("room_mm", 3.6), **wrong)
    assert raised.value.field == field
