"""The section: to scale, mirrored exactly, 3 at the left."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from forestay.draw.palette import LIGHT, PAPER
from forestay.draw.section import draw_section, room_words, section_geometry
from tests.factories import example_drawing, example_measures


def _texts(drawn: str) -> list[str | None]:
    return [e.text for e in ET.fromstring(drawn).iter() if e.tag.endswith("}text")]  # noqa: S314


def test_sizes_are_to_scale() -> None:
    section = section_geometry(example_drawing(), example_measures())
    bag, nucleus = section.of("bag")[0].points, section.of("nucleus")[0].points
    assert max(x for x, _ in bag) == pytest.approx(5.0)
    assert max(y for _, y in bag) - min(y for _, y in bag) == pytest.approx(4.9)
    assert max(y for _, y in bag) == pytest.approx(-2.75)
    assert max(x for x, _ in nucleus) == pytest.approx(3.75)
    assert max(y for _, y in nucleus) - min(y for _, y in nucleus) == pytest.approx(3.3)
    assert section.cornea_back_mm == pytest.approx(-0.54)
    # Room behind the cornea is what the plan says: depth from the corneal front less its thickness, 2.75 − 0.54 = 2.21.
    assert section.cornea_back_mm - section.lens_front_mm == pytest.approx(2.21)


def test_a_left_eye_is_the_exact_mirror_image() -> None:
    right = section_geometry(example_drawing(gaps=(3.0, 4.0)), example_measures())
    left = section_geometry(example_drawing(side="left", gaps=(9.0, 8.0)), example_measures(side="left"))
    for kind in ("cornea-front", "cornea-back", "bag", "nucleus", "iris", "stay", "gap"):
        one = {p for s in right.of(kind) for p in s.points}
        other = {(0.0 - x, y) for s in left.of(kind) for x, y in s.points}
        assert one == other, kind


def test_lost_stays_are_dotted_and_named() -> None:
    drawing = example_drawing(gaps=(3.0, 4.0))
    section = section_geometry(drawing, example_measures())
    assert [s.hour for s in section.of("gap")] == [3.0]
    assert all(x < 0 for x, _ in section.of("gap")[0].points)
    assert all(s.hour == 9.0 for s in section.of("stay"))
    assert "gap 3" in _texts(draw_section(drawing, example_measures(), palette=LIGHT))


def test_room_side_and_hours_are_written() -> None:
    texts = _texts(draw_section(example_drawing(), example_measures(), palette=PAPER))
    assert {"room 1.3 + 0.9 OVD", "Right eye", "3", "9", "temporal", "nasal"} <= set(texts)
    assert room_words(example_drawing(chamber_room_mm=None)) == "room not known"


def test_temporal_stands_at_nine_in_a_right_eye_and_at_three_in_a_left_eye() -> None:
    for side, place in (("right", 1), ("left", -1)):
        root = ET.fromstring(draw_section(example_drawing(side=side), example_measures(side=side), palette=LIGHT))  # noqa: S314
        x = {e.text: float(e.get("x", "")) for e in root.iter() if e.tag.endswith("}text")}
        assert (x["temporal"] - 280) * place > 0
        assert x["3"] < 280 < x["9"]


def test_an_eye_of_which_little_is_known_says_so() -> None:
    drawing = example_drawing(
        chamber_depth_mm=None,
        lens_thickness_mm=None,
        chamber_room_mm=None,
        nucleus_diameter_mm=None,
        pupil_mm=None,
        opening_circle_mm=None,
    )
    drawn = draw_section(drawing, example_measures(), palette=LIGHT)
    assert "chamber depth was not measured" in drawn
    assert "lens thickness was not measured" in drawn
    assert "room " not in " ".join(t or "" for t in _texts(drawn))


def test_the_room_is_told_without_what_ovd_adds() -> None:
    # the plan's room, 2.9 mm, holds the 0.9 mm of OVD: a reader who adds the two words must arrive at 2.9
    assert room_words(example_drawing(chamber_room_mm=2.9, ovd_gain_mm=0.9)) == "room 2.0 + 0.9 OVD"
