"""The eye from above: to scale, mirrored exactly, turned only by the seat."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.draw.above import draw_above
from forestay.draw.above_geometry import gap_runs, gap_words, geometry, outer_lip
from forestay.draw.controls import CONTROLS
from forestay.draw.palette import LIGHT, PALETTES, PAPER, Palette
from forestay.draw.shapes import perimeter_mm
from forestay.frame import Side, mirror_by_hour, mirror_hour
from forestay.plan.model import Drawing, Measures
from tests.factories import example_drawing, example_measures

SIDES: tuple[Side, ...] = ("right", "left")
SEATS = ("superior", "temporal")


def _bottom_hour(side: Side, seat: str) -> str:
    labels = geometry(example_drawing(side=side, seat=seat), example_measures(side=side)).of("clock")
    return min(labels, key=lambda s: s.points[0][1]).text


def _hour_at(side: Side, seat: str, direction: tuple[float, float]) -> str:
    labels = geometry(example_drawing(side=side, seat=seat), example_measures(side=side)).of("clock")
    return max(labels, key=lambda s: s.points[0][0] * direction[0] + s.points[0][1] * direction[1]).text


@pytest.mark.parametrize(
    ("side", "seat", "bottom", "right", "left"),
    [
        # The house rule: a superior seat has 12 below, 9 right, 3 left; a temporal seat the temporal hour below.
        ("right", "superior", "12", "9", "3"),
        ("left", "superior", "12", "9", "3"),
        ("right", "temporal", "9", "6", "12"),
        ("left", "temporal", "3", "12", "6"),
    ],
)
def test_the_seat_lies_at_the_bottom(side: Side, seat: str, bottom: str, right: str, left: str) -> None:
    assert _bottom_hour(side, seat) == bottom
    assert _hour_at(side, seat, (1, 0)) == right
    assert _hour_at(side, seat, (-1, 0)) == left


@pytest.mark.parametrize("seat", SEATS)
def test_a_left_eye_is_the_exact_mirror_image(seat: str) -> None:
    right = geometry(example_drawing(side="right", seat=seat), example_measures(side="right")).shapes
    left = geometry(example_drawing(side="left", seat=seat), example_measures(side="left")).shapes
    assert len(right) == len(left)
    for one, other in zip(right, left, strict=True):
        assert other.points == tuple((0.0 - x, y) for x, y in one.points)
        assert (one.kind, one.form, one.radius_mm, one.weight) == (
            other.kind,
            other.form,
            other.radius_mm,
            other.weight,
        )


def _mirrored(drawing: Drawing, measures: Measures) -> tuple[Drawing, Measures]:
    turned = replace(
        drawing,
        side="left",
        zonule=mirror_by_hour(drawing.zonule),
        load=mirror_by_hour(drawing.load),
        gaps=tuple(mirror_hour(g) for g in drawing.gaps),
        displacement_clock=None if drawing.displacement_clock is None else mirror_hour(drawing.displacement_clock),
    )
    return turned, replace(
        measures,
        hook_clocks=tuple(mirror_hour(h) for h in measures.hook_clocks),
        capsule_hook_clocks=tuple(mirror_hour(h) for h in measures.capsule_hook_clocks),
        tunnel_clock=mirror_hour(measures.tunnel_clock),
    )


HOURS_OF_DIAL = st.floats(0.01, 12.0)


@given(
    tunnel=HOURS_OF_DIAL,
    hooks=st.lists(HOURS_OF_DIAL, max_size=8),
    gaps=st.lists(st.integers(1, 12), max_size=6, unique=True),
    shares=st.lists(st.floats(0, 1), min_size=12, max_size=12),
    moved=st.tuples(st.floats(0, 1), HOURS_OF_DIAL),
    seat=st.sampled_from(SEATS),
    shape=st.sampled_from(("straight", "frown", "chevron")),
)
@settings(deadline=None, derandomize=True, max_examples=60)
def test_any_case_mirrors_exactly(
    *, tunnel: float, hooks: Any, gaps: Any, shares: Any, moved: Any, seat: Any, shape: Any
) -> None:
    measures = example_measures(
        tunnel_clock=tunnel, hook_clocks=tuple(hooks), pupil_hooks=len(hooks), tunnel_shape=shape
    )
    drawing = example_drawing(
        seat=seat, gaps=tuple(float(g) for g in gaps), zonule=tuple(shares), load=tuple(2 * s for s in shares)
    )
    drawing = _moved(drawing, *moved)
    right, left = geometry(drawing, measures).shapes, geometry(*_mirrored(drawing, measures)).shapes
    assert len(right) == len(left)
    for one, other in zip(right, left, strict=True):
        assert other.points == tuple((0.0 - x, y) for x, y in one.points)


def _moved(drawing: Drawing, by_mm: float, clock: float) -> Drawing:
    return replace(drawing, displacement_mm=by_mm, displacement_clock=clock)


@pytest.mark.parametrize("side", SIDES)
def test_the_seat_turns_the_drawing_and_nothing_else(side: Side) -> None:
    superior = geometry(example_drawing(side=side, seat="superior"), example_measures(side=side))
    temporal = geometry(example_drawing(side=side, seat="temporal"), example_measures(side=side))
    assert [(s.kind, s.text, s.hour) for s in superior.shapes] == [(s.kind, s.text, s.hour) for s in temporal.shapes]
    turn = math.radians(temporal.rotation_deg - superior.rotation_deg)
    for a, b in zip(superior.shapes, temporal.shapes, strict=True):
        for (x, y), moved in zip(a.points, b.points, strict=True):
            turned = (x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn))
            assert moved == pytest.approx(turned, abs=1e-8)


def test_sizes_are_to_scale() -> None:
    scene = geometry(example_drawing(), example_measures())
    radii = {kind: scene.of(kind)[0].radius_mm for kind in ("limbus", "bag", "nucleus", "capsulorhexis")}
    assert radii == {"limbus": 5.8, "bag": 5.0, "nucleus": 3.75, "capsulorhexis": 2.6}
    drawn = draw_above(example_drawing(), example_measures(), handles=False, palette=LIGHT)
    scale = float(re.search(r'data-scale="([\d.]+)"', drawn)[1])  # type: ignore[index]
    rim = float(re.search(r'r="([\d.]+)" class="capsulorhexis"', drawn)[1])  # type: ignore[index]
    assert rim / scale == pytest.approx(2.6, abs=0.001)


def test_no_stay_stands_in_a_gap_and_weak_hours_have_fewer() -> None:
    scene = geometry(example_drawing(), example_measures())
    per_hour = {h: sum(1 for s in scene.of("stay") if s.hour == h) for h in range(1, 13)}
    assert per_hour[6] == per_hour[7] == 0
    assert per_hour[8] < per_hour[9] < per_hour[12]
    assert len(scene.of("gap")) == 1
    assert [s.text for s in scene.of("gap-label")] == ["gap 6–7"]


def test_the_gap_label_names_the_eyes_own_hours_in_a_left_eye() -> None:
    scene = geometry(example_drawing(side="left"), example_measures(side="left"))
    assert [s.text for s in scene.of("gap-label")] == ["gap 5–6"]


def test_gap_runs_join_across_twelve() -> None:
    assert gap_runs((12.0, 1.0, 11.0, 5.0)) == ((5.0,), (11.0, 12.0, 1.0))
    assert [gap_words(r) for r in gap_runs((12.0, 1.0, 11.0, 5.0))] == ["gap 5", "gap 11–1"]
    assert gap_runs(()) == ()


def test_a_ring_is_open_and_has_two_eyelets() -> None:
    with_ring = geometry(example_drawing(), example_measures())
    ring = with_ring.of("ring")[0].points
    assert math.dist(ring[0], ring[-1]) > 1.0
    assert len(with_ring.of("eyelet")) == 2
    without = geometry(example_drawing(), example_measures(ring="none"))
    assert not without.of("ring")
    assert not without.of("eyelet")


def test_four_hooks_give_a_taut_square() -> None:
    # Four corners at reach r, a quarter turn apart: a square of side r √2, so perimeter 4 r √2 = 18.667 for r = 3.3.
    outline = geometry(example_drawing(), example_measures()).of("opening")[0].points
    assert len(outline) == 4
    assert perimeter_mm(outline) == pytest.approx(4 * 3.3 * math.sqrt(2), abs=1e-6)


def test_slack_hooks_leave_the_round_pupil_showing() -> None:
    wide = geometry(example_drawing(pupil_mm=7.0), example_measures(hook_reach_mm=3.6)).of("opening")[0].points
    assert len(wide) > 20
    assert max(math.hypot(*p) for p in wide) == pytest.approx(3.6)


def test_hooks_never_draw_a_pupil_smaller_than_it_was() -> None:
    # a square of reach 3.3 has sides of 4.67 mm: longer in all than the edge of a 5 mm pupil, and across it
    drawing = example_drawing(pupil_mm=5.0, opening_circle_mm=5.0)
    outline = geometry(drawing, example_measures()).of("opening")[0].points
    sides = zip(outline, (*outline[1:], outline[0]), strict=True)
    nearest = min(abs(a[0] * b[1] - a[1] * b[0]) / math.dist(a, b) for a, b in sides)
    assert nearest == pytest.approx(2.5, abs=0.01)


def test_no_hooks_leave_a_round_pupil() -> None:
    measures = example_measures(hook_clocks=(), pupil_hooks=0, hook_reach_mm=None)
    outline = geometry(example_drawing(), measures).of("opening")[0].points
    assert {round(math.hypot(*p), 6) for p in outline} == {1.9}


@pytest.mark.parametrize("shape", ["straight", "frown", "chevron"])
def test_the_outer_lip_has_its_chord_distance_and_sagitta(shape: str) -> None:
    measures = example_measures(tunnel_shape=shape, tunnel_clock=12.0)
    lip = outer_lip(measures, 5.8)
    assert math.dist(lip[0], lip[-1]) == pytest.approx(7.0)
    assert lip[len(lip) // 2] == pytest.approx((0.0, 7.3))
    # A frown and a chevron are nearest the limbus in the middle: their ends lie farther out by the sagitta.
    assert lip[0][1] - 7.3 == pytest.approx(0.0 if shape == "straight" else 1.5)


def test_a_frown_unfolds_to_its_arc() -> None:
    # Arc through chord c and sagitta s: rho = (c²/4 + s²) / 2s, length 2 rho asin(c / 2 rho); c = 7, s = 1.5.
    rho = (7**2 / 4 + 1.5**2) / 3
    lip = outer_lip(example_measures(), 5.8)
    drawn = sum(math.dist(a, b) for a, b in itertools.pairwise(lip))
    assert drawn == pytest.approx(2 * rho * math.asin(7 / (2 * rho)), rel=1e-3)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_side_viewpoint_and_clock_are_always_written(side: Side, seat: str, palette: Palette) -> None:
    drawn = draw_above(
        example_drawing(side=side, seat=seat), example_measures(side=side), handles=False, palette=palette
    )
    texts = [e.text for e in ET.fromstring(drawn).iter() if e.tag.endswith("}text")]  # noqa: S314
    assert ("Right eye" if side == "right" else "Left eye") in texts
    assert f"as the surgeon sits, {seat}" in texts
    assert {str(h) for h in range(1, 13)} <= set(texts)
    assert "style=" not in drawn
    assert "transform=" not in drawn


def test_the_picture_is_named_and_repeats_exactly() -> None:
    drawn = draw_above(example_drawing(), example_measures(), handles=False, palette=PAPER, id_prefix="sheet")
    root = ET.fromstring(drawn)  # noqa: S314
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "sheet-title sheet-desc"
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    assert drawn == draw_above(example_drawing(), example_measures(), handles=False, palette=PAPER, id_prefix="sheet")


def _handles(**changes: Any) -> dict[str, ET.Element]:
    drawn = draw_above(example_drawing(), example_measures(**changes), handles=True, palette=LIGHT)
    root = ET.fromstring(drawn)  # noqa: S314
    assert root.get("role") == "group"
    return {e.get("data-control", ""): e for e in root.iter() if e.get("class") == "handle"}


def test_every_control_has_a_reachable_handle() -> None:
    handles = _handles(ring_gap_clock=12.5)
    assert set(handles) == {c.name for c in CONTROLS} | {"weak_from", "weak_to"}
    for handle in handles.values():
        assert handle.get("role") == "slider"
        assert handle.get("tabindex") == "0"
        assert handle.get("aria-label")
        low, now, high = (float(handle.get(f"aria-value{k}", "")) for k in ("min", "now", "max"))
        assert low <= now <= high
        target = next(c for c in handle if c.get("class") == "target")
        assert 2 * float(target.get("r", "")) * 0.6 >= 24  # still 24 px where the picture is drawn at 60 %


def test_handles_tell_the_present_value() -> None:
    handles = _handles(ring="none", pupil_hooks=0, hook_clocks=(), hook_reach_mm=None)
    assert handles["ring"].get("aria-valuetext") == "no ring"
    assert handles["ring"].get("data-options") == "none before-nucleus after-nucleus"
    assert handles["capsulorhexis_mm"].get("aria-valuetext") == "5.2 mm"
    assert handles["pupil_hooks"].get("aria-valuenow") == "0"
    assert handles["tunnel_chord_mm"].get("aria-valuenow") == "7"
    assert "capsulorhexis_mm" not in _handles(capsulorhexis_mm=None)


def test_the_pointer_rule_of_the_page_gives_back_the_value() -> None:
    """What the module's docstring promises a page: from a handle's place to the value that it stands for."""
    for side in SIDES:
        for seat in SEATS:
            measures = example_measures(side=side, tunnel_clock=10.5 if side == "right" else 1.5)
            drawn = draw_above(example_drawing(side=side, seat=seat), measures, handles=True, palette=LIGHT)
            root = ET.fromstring(drawn)  # noqa: S314
            read = lambda name, e=root: float(e.get(name, ""))  # noqa: E731
            handles = {e.get("data-control"): e for e in root.iter() if e.get("class") == "handle"}
            knob = handles["tunnel_clock"][0]
            x, y = float(knob.get("cx", "")), float(knob.get("cy", ""))
            angle = math.degrees(math.atan2(read("data-centre-y") - y, x - read("data-centre-x")))
            hour = ((90 - (angle - read("data-rotation"))) / 30) % 12
            assert hour == pytest.approx(measures.tunnel_clock, abs=0.01)
            rim = handles["capsulorhexis_mm"]
            knob = rim[0]
            away = math.hypot(
                float(knob.get("cx", "")) - float(rim.get("data-centre-x", "")),
                float(knob.get("cy", "")) - float(rim.get("data-centre-y", "")),
            )
            assert 2 * away / read("data-scale") == pytest.approx(5.2, abs=0.01)


def test_an_eye_of_which_little_is_known_is_drawn() -> None:
    drawing = example_drawing(
        pupil_mm=None,
        nucleus_diameter_mm=None,
        nucleus_thickness_mm=None,
        opening_circle_mm=None,
        displacement_clock=None,
        gaps=(),
        zonule=(0.0,) * 12,
        load=(0.0,) * 12,
    )
    measures = example_measures(capsulorhexis_mm=None, hook_clocks=(), pupil_hooks=0, hook_reach_mm=None)
    ET.fromstring(draw_above(drawing, measures, handles=True, palette=LIGHT))  # noqa: S314


def test_the_eye_stays_inside_the_picture_at_the_extremes() -> None:
    drawing = example_drawing(white_to_white_mm=14.0)
    for clock in (12.0, 3.0, 6.0, 9.0):
        measures = example_measures(
            tunnel_clock=clock, tunnel_outer_mm=10.0, tunnel_sagitta_mm=2.5, tunnel_distance_mm=3.0
        )
        drawn = draw_above(drawing, measures, handles=False, palette=LIGHT)
        xs = [float(v) for v in re.findall(r"[ML](-?[\d.]+) ", drawn)]
        assert min(xs) >= 0
        assert max(xs) <= 560
