"""Square, diamond and one hook more: against the figures of the mechanics evidence, section on the pupil."""

from __future__ import annotations

import numpy as np
import pytest

from forestay.errors import InvalidInput
from forestay.frame import mirror_hour
from forestay.mechanics.ports_pattern import compare, hook_places, pattern_view

FOUR = {"count": 4, "incision_clock": 12.0, "reach_mm": 3.54, "pupil_mm": 3.0, "corner_radius_mm": 0.0}


def test_square_and_diamond_differ_in_reach_only() -> None:
    # evidence: same perimeter, area and circle; reach towards the incision 2.50 v 3.54 (+41 %)
    square, diamond = compare(("square", "diamond"), **FOUR)
    for name in ("margin_mm", "area_mm2", "largest_circle_mm", "circle_about_pupil_mm"):
        assert getattr(square, name) == pytest.approx(getattr(diamond, name), abs=1e-12)
    assert (round(square.reach_to_incision_mm, 2), round(diamond.reach_to_incision_mm, 2)) == (2.5, 3.54)
    assert diamond.reach_to_incision_mm / square.reach_to_incision_mm == pytest.approx(2**0.5)


def test_one_hook_more_under_the_incision() -> None:
    # evidence: perimeter 20.44, area 27.7, circle unchanged (5.01)
    (extra,) = compare(("extra",), **FOUR)
    assert extra.margin_mm == pytest.approx(20.44, abs=0.005)
    assert extra.area_mm2 == pytest.approx(27.7, abs=0.05)
    assert extra.largest_circle_mm == pytest.approx(5.01, abs=0.005)
    assert extra.reach_to_incision_mm == pytest.approx(3.54)


@pytest.mark.parametrize("pattern", ["square", "diamond", "extra"])
@pytest.mark.parametrize("clock", [12.0, 9.0, 10.5, 2.25])
def test_places_turn_with_the_incision_and_mirror(pattern: str, clock: float) -> None:
    ours = hook_places(pattern=pattern, count=5, incision_clock=clock)
    other = hook_places(pattern=pattern, count=5, incision_clock=mirror_hour(clock))
    assert sorted(round(mirror_hour(p.clock), 9) for p in ours) == sorted(round(p.clock, 9) for p in other)
    assert [p.clock for p in ours if p.at_incision] == ([] if pattern == "square" else [clock])


def test_circle_about_a_displaced_lens_and_draws() -> None:
    pupil = np.array([3.0, np.nan])
    found = pattern_view(pattern="square", **(FOUR | {"pupil_mm": pupil}), lens_clock=3.0, lens_offset_mm=0.4)
    assert found.circle_about_lens_mm[0] == pytest.approx(found.circle_about_pupil_mm[0] - 0.8)
    assert np.isnan(found.margin_mm).tolist() == [False, True]


def test_an_unknown_pattern_names_the_field() -> None:
    with pytest.raises(InvalidInput) as raised:
        hook_places(pattern="star", count=4, incision_clock=12)
    assert raised.value.field == "pattern"
