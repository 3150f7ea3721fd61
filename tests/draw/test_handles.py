"""Handles of the eye from above: none under another's finger, each where its value is read off or tied to that place."""

from __future__ import annotations

import itertools
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.draw.above import draw_above
from forestay.draw.above_geometry import geometry
from forestay.draw.handles import APART_PX, LEAST_RADIUS_PX, Placed, Screen, place
from forestay.draw.palette import LIGHT
from forestay.frame import Side
from tests.factories import example_drawing, example_measures

PHONE = 348 / 560
"""The drawing is 348 px wide on a phone of 390 px, for 560 units of its own."""
TOUCH_PX = 44
SCREEN = Screen(24.0, (280.0, 300.0))


def _placed(
    side: Side = "right", seat: str = "superior", gaps: tuple[float, ...] = (6.0, 7.0), **changes: object
) -> list[Placed]:
    drawing = example_drawing(side=side, seat=seat, gaps=gaps)
    measures = example_measures(side=side, **{"ring_gap_clock": 12.5, **changes})
    return place(geometry(drawing, measures), SCREEN, drawing, measures)


def _nearest(placed: list[Placed]) -> float:
    """Between handles that a finger uses: twins are for a mouse and lie below the rest."""
    own = [p for p in placed if not p.twin]
    return min(math.dist(a.place, b.place) for a, b in itertools.combinations(own, 2))


@given(
    clock=st.integers(1, 24),
    chord=st.floats(2, 10),
    size=st.floats(3, 8),
    reach=st.floats(1.5, 5),
    hooks=st.integers(0, 8),
    opening=st.integers(1, 24),
    first=st.integers(1, 12),
    length=st.integers(0, 11),
    side=st.sampled_from(("right", "left")),
    seat=st.sampled_from(("superior", "temporal")),
)
@settings(deadline=None, derandomize=True, max_examples=120)
def test_no_two_handles_lie_under_one_finger(
    *, clock: int, chord: float, size: float, reach: float, hooks: int, opening: int, first: int, length: int,
    side: Side, seat: str,
) -> None:  # fmt: skip
    """Where a drawing is not at its extremes a finger of 44 px fits; a pointer of 24 px always does (WCAG 2.2, 2.5.8)."""
    placed = _placed(
        side,
        seat,
        tuple(float((first + i - 1) % 12 + 1) for i in range(length)),
        tunnel_clock=clock / 2,
        tunnel_outer_mm=chord,
        capsulorhexis_mm=size,
        hook_reach_mm=reach if hooks else None,
        pupil_hooks=hooks,
        hook_clocks=tuple(12 * (i + 0.5) / hooks for i in range(hooks)),
        ring_gap_clock=opening / 2,
    )
    assert _nearest(placed) * PHONE >= 24
    assert all(0 < p.place[0] < 560 for p in placed)


@pytest.mark.parametrize("seat", ["superior", "temporal"])
@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("hooks", [0, 4, 5, 6])
def test_a_finger_fits_on_a_phone(side: Side, seat: str, hooks: int) -> None:
    clocks = tuple(12 * (i + 0.5) / hooks for i in range(hooks))
    placed = _placed(side, seat, pupil_hooks=hooks, hook_clocks=clocks, hook_reach_mm=3.5 if hooks else None)
    assert _nearest(placed) >= APART_PX
    assert APART_PX * PHONE >= TOUCH_PX


def test_targets_do_not_overlap() -> None:
    drawn = draw_above(example_drawing(), example_measures(ring_gap_clock=12.5), handles=True, palette=LIGHT)

    found = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"[^>]*class="target"', drawn)
    circles = [(float(x), float(y), float(r)) for x, y, r in found if float(r) > LEAST_RADIUS_PX]
    assert len(circles) > 8
    for (ax, ay, ar), (bx, by, br) in itertools.combinations(circles, 2):
        assert math.hypot(ax - bx, ay - by) >= ar + br - 0.02


def test_a_handle_that_gave_way_is_tied_to_its_place() -> None:
    placed = {p.name: p for p in _placed(tunnel_clock=6.0, gaps=(5.0,), ring_gap_clock=6.0) if not p.twin}
    moved = [p for p in placed.values() if math.dist(p.place, p.from_) > 4]
    assert moved
    drawn = draw_above(
        example_drawing(gaps=(5.0,)),
        example_measures(tunnel_clock=6.0, ring_gap_clock=6.0),
        handles=True,
        palette=LIGHT,
    )
    assert 'class="leader"' in drawn


def test_every_corner_that_is_free_takes_the_pointer() -> None:
    placed = [p for p in _placed(gaps=()) if p.name == "hook_reach_mm"]
    assert sum(not p.twin for p in placed) == 1
    assert len(placed) > 1
    reach = {round(math.dist(p.place, SCREEN.middle) / SCREEN.scale, 3) for p in placed}
    assert reach == {3.3}


def test_without_hooks_ring_or_gap_there_is_nothing_to_take_hold_of() -> None:
    names = {
        p.name
        for p in _placed(gaps=(), pupil_hooks=0, hook_clocks=(), hook_reach_mm=None, ring="none", ring_gap_clock=None)
    }
    assert names == {"tunnel_clock", "tunnel_chord_mm", "capsulorhexis_mm", "ring", "pupil_hooks"}


def test_the_ring_is_drawn_open_where_it_is_put() -> None:
    scene = geometry(example_drawing(seat="superior"), example_measures(ring_gap_clock=3.0))
    x, y = scene.of("ring-gap")[0].points[0]
    assert (x < -4.5, abs(y) < 1) == (True, True)  # as the surgeon sits at 12, 3 lies to the left
