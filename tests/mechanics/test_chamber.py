"""Room to tip the nucleus, against a search over every way of turning and lifting it through the opening."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import label

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.chamber import ChamberConstants, needed_to_tip_mm, room_mm
from forestay.mechanics.geometry import ellipse_perimeter_mm

CONSTANTS = default_evidence().reader().constants(ChamberConstants)
ROOM_BELOW_MM = 6.0
steady = settings(deadline=None, derandomize=True)


def least_worst_girth(diameter: float, thickness: float, room: float) -> float:
    """Smallest girth that must pass the opening on the best path from below it to above, infinite without a path.

    The nucleus is an oblate ellipsoid at tilt q with its centre at height h over the opening's plane. Its half height
    is H(q), its section in the plane has the girth of the central section times sqrt(1 - h^2 / H^2). All of it must
    stay between the floor and the roof. Found by bisection on the girth: is there a connected path below it?
    """
    tilt = np.linspace(0, np.pi / 2, 121)[:, np.newaxis]
    height = np.linspace(-ROOM_BELOW_MM, room, 401)[np.newaxis, :]
    half = np.sqrt((diameter / 2 * np.sin(tilt)) ** 2 + (thickness / 2 * np.cos(tilt)) ** 2)
    across = 1 / np.sqrt((np.cos(tilt) / (diameter / 2)) ** 2 + (np.sin(tilt) / (thickness / 2)) ** 2)
    central = np.asarray(ellipse_perimeter_mm(diameter_mm=diameter, thickness_mm=2 * across))
    girth = central * np.sqrt(np.clip(1 - (height / half) ** 2, 0, None))
    fits = (half + height <= room) & (half - height <= ROOM_BELOW_MM)
    low, high = 0.0, np.pi * diameter * 1.001
    if not _joined(fits, height, half):
        return np.inf
    while high - low > 1e-4:
        middle = (low + high) / 2
        if _joined(fits & (girth <= middle), height, half):
            high = middle
        else:
            low = middle
    return high


def _joined(free: Any, height: Any, half: Any) -> bool:
    regions, _ = label(free, structure=np.ones((3, 3)))
    below, above = regions[free & (height <= -half)], regions[free & (height >= half)]
    return bool(set(below.tolist()) & set(above.tolist()))


@pytest.mark.parametrize(("diameter", "thickness"), [(7.13, 3.05), (7.89, 3.53), (8.65, 4.01)])
def test_the_room_needed_is_where_tipping_costs_no_more_than_its_own_girth(diameter: float, thickness: float) -> None:
    own = float(ellipse_perimeter_mm(diameter_mm=diameter, thickness_mm=thickness))
    needed = float(needed_to_tip_mm(nucleus_diameter_mm=diameter, nucleus_thickness_mm=thickness, constants=CONSTANTS))
    assert least_worst_girth(diameter, thickness, needed) == pytest.approx(own, rel=0.006)
    assert least_worst_girth(diameter, thickness, needed - 0.5) > 1.01 * own


@pytest.mark.parametrize(
    ("diameter", "thickness", "room", "girth"),
    [  # published with the search: girths on a coarser grid, within 0.5 %
        (7.13, 3.05, 3.2, 17.62),
        (7.13, 3.05, 3.6, 17.02),
        (7.89, 3.53, 4.0, 19.04),
        (8.65, 4.01, 4.2, 21.38),
    ],
)
def test_a_shallow_chamber_costs_girth(diameter: float, thickness: float, room: float, girth: float) -> None:
    assert least_worst_girth(diameter, thickness, room) == pytest.approx(girth, rel=0.006)


def test_a_chamber_shallower_than_the_nucleus_lets_it_nowhere() -> None:
    assert least_worst_girth(7.89, 3.53, 3.2) == np.inf
    assert least_worst_girth(8.65, 4.01, 3.6) == np.inf


def test_the_room_needed_is_never_less_than_the_thickness() -> None:
    assert needed_to_tip_mm(nucleus_diameter_mm=6.0, nucleus_thickness_mm=5.0, constants=CONSTANTS) == 5.0


def test_room_is_depth_less_cornea_plus_gain() -> None:
    assert room_mm(chamber_depth_mm=2.55, corneal_thickness_um=535, ovd_gain_mm=0.9) == pytest.approx(2.915)
    room = room_mm(chamber_depth_mm=np.array([2.5, np.nan]), corneal_thickness_um=500, ovd_gain_mm=np.array([0.0, 1.0]))
    assert isinstance(room, np.ndarray)
    assert room[0] == pytest.approx(2.0)
    assert np.isnan(room[1])


def test_the_gain_by_filling_explains_the_magnification_seen() -> None:
    # guide ring of 5.30 mm seen as 6.14 mm, so m = 1.159, cornea 43.53 D: depth (1 - 1/m) 1336 / P = 4.21 mm;
    # measured before surgery 3.28 mm
    depth = (1 - 1 / 1.159) * 1336 / 43.53
    assert depth == pytest.approx(4.210, abs=0.005)
    assert depth - 3.28 == pytest.approx(CONSTANTS.ovd_gain_mm, abs=0.05)


@steady
@given(
    depth=st.floats(min_value=0.8, max_value=6.0),
    cornea=st.floats(min_value=300, max_value=1200),
    gain=st.floats(min_value=0, max_value=2),
)
def test_a_deeper_chamber_has_more_room_and_none_is_negative(depth: float, cornea: float, gain: float) -> None:
    room = float(room_mm(chamber_depth_mm=depth, corneal_thickness_um=cornea, ovd_gain_mm=gain))
    assert room >= 0
    assert float(room_mm(chamber_depth_mm=depth + 0.5, corneal_thickness_um=cornea, ovd_gain_mm=gain)) > room


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"chamber_depth_mm": 0.0}, "chamber_depth_mm"),
        ({"corneal_thickness_um": -1.0}, "corneal_thickness_um"),
        ({"ovd_gain_mm": -0.1}, "ovd_gain_mm"),
    ],
)
def test_an_impossible_chamber_is_named(wrong: dict[str, float], field: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        room_mm(**({"chamber_depth_mm": 3.0, "corneal_thickness_um": 535.0, "ovd_gain_mm": 0.9} | wrong))
    assert raised.value.field == field
