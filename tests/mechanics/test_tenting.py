"""How steeply a hook comes down: against the table of the incision evidence, section 7."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.mechanics.tenting import attack, corneal_radius_mm, dome_depth_mm

EYE = {"radius_mm": 7.8, "white_to_white_mm": 11.7}
steady = settings(deadline=None, derandomize=True, max_examples=60)


@pytest.mark.parametrize(
    ("depth", "inside", "angle"),
    # incision evidence, section 7: sphere R 7.8, white-to-white 11.7, pupil edge 2.0 mm from the axis
    [
        (3.1, 0.0, 6.8),
        (3.1, 0.5, 16.2),
        (3.1, 1.0, 26.3),
        (3.1, 1.5, 37.1),
        (2.6, 0.5, 8.1),
        (2.6, 1.0, 17.7),
        (2.6, 1.5, 28.5),
        (3.6, 0.0, 14.0),
        (3.6, 0.5, 23.8),
        (3.6, 1.0, 33.8),
        (3.6, 1.5, 44.1),
    ],
)
def test_the_table_of_angles(depth: float, inside: float, angle: float) -> None:
    found = attack(**EYE, pupil_plane_depth_mm=depth, port_inside_limbus_mm=inside, margin_radius_mm=2.0)
    assert found.angle_deg == pytest.approx(angle, abs=0.05)


def test_at_the_limbus_of_a_shallow_chamber_the_hook_lies_in_the_plane() -> None:
    # same table: "about 0"
    found = attack(**EYE, pupil_plane_depth_mm=2.6, port_inside_limbus_mm=0.0, margin_radius_mm=2.0)
    assert abs(found.angle_deg) < 1
    assert found.lift_fraction < 0


@pytest.mark.parametrize(("edge", "angle"), [(2.75, 8.4), (3.5, 11.1)])
def test_pulling_wider_steepens(edge: float, angle: float) -> None:
    # same section: limbus port, margin 2.75: 8.4; 3.5: 11.1
    found = attack(**EYE, pupil_plane_depth_mm=3.1, port_inside_limbus_mm=0.0, margin_radius_mm=edge)
    assert found.angle_deg == pytest.approx(angle, abs=0.05)


@pytest.mark.parametrize(("inside", "share"), [(0.0, 0.12), (1.0, 0.44)])
def test_the_lift_is_the_sine(inside: float, share: float) -> None:
    # same section: 0.12 at the limbus, 0.44 at 1 mm in
    found = attack(**EYE, pupil_plane_depth_mm=3.1, port_inside_limbus_mm=inside, margin_radius_mm=2.0)
    assert found.lift_fraction == pytest.approx(share, abs=0.005)


def test_radius_and_depth_of_the_sphere() -> None:
    assert corneal_radius_mm(k_mean_d=43.0, keratometric_index=1.3375) == pytest.approx(337.5 / 43)
    assert dome_depth_mm(radius_mm=7.8, half_width_mm=0.0) == 0


@steady
@given(st.floats(7, 8.6), st.floats(10.5, 12.5), st.floats(2, 4.5), st.floats(0, 1.4), st.floats(0.75, 3.2))
def test_forward_ports_and_deeper_chambers_steepen(
    r: float, w: float, depth: float, inside: float, edge: float
) -> None:
    def angle(more_inside: float = 0.0, deeper: float = 0.0) -> float:
        found = attack(
            radius_mm=r,
            white_to_white_mm=w,
            pupil_plane_depth_mm=depth + deeper,
            port_inside_limbus_mm=inside + more_inside,
            margin_radius_mm=edge,
        )
        assert np.sin(np.radians(found.angle_deg)) == pytest.approx(found.lift_fraction)
        return float(found.angle_deg)

    assert angle(more_inside=0.1) > angle()
    assert angle(deeper=0.9) > angle()  # viscosurgical device raises every angle


def test_draws_and_missing_values() -> None:
    depth = np.array([3.1, np.nan, 3.6])
    found = attack(**EYE, pupil_plane_depth_mm=depth, port_inside_limbus_mm=0.5, margin_radius_mm=2.0)
    assert np.isnan(found.angle_deg).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"port_inside_limbus_mm": -0.5}, "port_inside_limbus_mm"),
        ({"margin_radius_mm": 5.9}, "margin_radius_mm"),
        ({"radius_mm": 5.0}, "half_width_mm"),
        ({"pupil_plane_depth_mm": 0.0}, "pupil_plane_depth_mm"),
    ],
)
def test_bad_input_names_the_field(wrong: dict[str, float], field: str) -> None:
    keys = {**EYE, "pupil_plane_depth_mm": 3.1, "port_inside_limbus_mm": 0.0, "margin_radius_mm": 2.0}
    with pytest.raises(InvalidInput) as raised:
        attack(**(keys | wrong))
    assert raised.value.field == field
