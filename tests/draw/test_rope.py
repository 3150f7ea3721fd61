"""Ropes: the shape says room or short, the mark never moves, what does not fit shows that it goes on."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.draw.palette import LIGHT, PAPER
from forestay.draw.rope import MARK_X, REACH_PX, amount_words, draw_rope, rope_scales, rope_sentence, state_words
from forestay.plan.model import Margin
from tests.factories import example_margins, margin, zonule_margin

SVG = "{http://www.w3.org/2000/svg}"


def _parts(text: str) -> dict[str, list[ET.Element]]:
    found: dict[str, list[ET.Element]] = {}
    for element in ET.fromstring(text).iter():  # noqa: S314 - our own picture
        found.setdefault(element.get("class", ""), []).append(element)
    return found


def _ring_x(text: str) -> float:
    return float(_parts(text)["ring"][0].get("cx", ""))


def test_room_is_taut_to_the_right_and_short_is_slack_to_the_left() -> None:
    room = draw_rope(margin(needs=5, has=6), palette=LIGHT, scale_mm=2)
    short = draw_rope(margin(needs=6, has=5), palette=LIGHT, scale_mm=2)
    assert "taut" in _parts(room)
    assert "slack" not in _parts(room)
    assert "slack" in _parts(short)
    assert "taut" not in _parts(short)
    assert _ring_x(room) == pytest.approx(MARK_X + REACH_PX / 2)
    assert _ring_x(short) == pytest.approx(MARK_X - REACH_PX / 2)


def test_colour_is_never_the_only_sign() -> None:
    strip = lambda t: re.sub(r'(?:fill|stroke)="#[0-9a-f]{6}"', "", t)  # noqa: E731
    room, short = (draw_rope(margin(needs=n, has=5.5), palette=PAPER, scale_mm=2) for n in (5, 6))
    assert strip(room) != strip(short)


def test_the_mark_stands_at_the_same_place_in_every_rope() -> None:
    marks = {_parts(draw_rope(m, palette=LIGHT, scale_mm=1))["mark"][0].get("x1") for m in example_margins()}
    assert marks == {"150"}


def test_comparative_ropes_have_no_whiskers_and_no_chance() -> None:
    drawn = draw_rope(zonule_margin("rotation", 0.3), palette=LIGHT, scale_mm=1)
    assert "whiskers" not in _parts(drawn)
    assert "Chance" not in drawn
    assert "whiskers" in _parts(draw_rope(margin(), palette=LIGHT, scale_mm=2))


@pytest.mark.parametrize(("has", "clipped"), [(8.0, 1), (2.0, 1), (5.5, 0)])
def test_a_rope_beyond_its_scale_shows_that_it_goes_on(has: float, clipped: int) -> None:
    drawn = draw_rope(margin(needs=5, has=has, spread=0.0), palette=LIGHT, scale_mm=1)
    assert len(_parts(drawn).get("clipped", [])) == clipped


def test_a_whisker_beyond_the_scale_is_clipped_visibly() -> None:
    drawn = draw_rope(margin(needs=5, has=5.2, spread=3.0), palette=LIGHT, scale_mm=1)
    assert len(_parts(drawn)["clipped"]) == 2


@given(st.floats(-20, 20), st.floats(0, 20), st.floats(0.1, 5))
@settings(deadline=None, derandomize=True)
def test_everything_stays_inside_the_picture(value: float, spread: float, scale: float) -> None:
    drawn = draw_rope(margin(needs=0.0, has=value, spread=spread), palette=LIGHT, scale_mm=scale)
    xs = [float(v) for v in re.findall(r'\b(?:x1|x2|cx)="([^"]+)"', drawn)]
    assert all(0 <= x <= 300 for x in xs)


def test_one_scale_for_each_unit_and_kind() -> None:
    scales = rope_scales(example_margins())
    # Largest margin in mm is 1.0 with whisker to 1.7: the next round number is 2. Cells: 530, whisker 830: 1000.
    assert scales["mm", "absolute"] == 2.0
    assert scales["cells/mm²", "absolute"] == 1000.0
    assert scales["D", "absolute"] == 0.5
    assert scales["× healthy", "comparative"] == 0.8
    assert rope_scales(()) == {}
    assert rope_scales((margin(needs=5, has=5, spread=0.0),))["mm", "absolute"] == 1.0


def test_title_and_sentence() -> None:
    root = ET.fromstring(draw_rope(margin(needs=5.7, has=4.7), palette=LIGHT, scale_mm=2))  # noqa: S314
    assert root.get("role") == "img"
    ids = root.get("aria-labelledby", "").split()
    by_id = {e.get("id"): e.text for e in root.iter() if e.get("id")}
    assert by_id[ids[0]] == "Pupil: short 1.0 mm"
    assert by_id[ids[1]] == (
        "Needs 5.7 mm in view · 4 hooks give 4.7: short 1.0 mm (−1.7 to −0.3 mm). Chance that it is enough: 1 in 9."
    )


def test_words_of_states() -> None:
    assert state_words(margin(needs=5, has=5)) == "just enough"
    assert state_words(margin(needs=5, has=5.5)) == "room 0.5 mm"
    assert state_words(zonule_margin("rotation", 0.3)) == "room, by rank"
    assert state_words(zonule_margin("rotation", -0.3)) == "short, by rank"
    assert "predicts nothing" in rope_sentence(zonule_margin("rotation", -0.3))
    assert amount_words(-0.04, "mm") == "0.0 mm"


def test_markup_in_words_is_escaped() -> None:
    wild: Margin = replace(margin(), step='<b>"&', says="<script>alert(1)</script>")
    drawn = draw_rope(wild, palette=LIGHT, scale_mm=2)
    assert "<script" not in drawn
    assert "<b>" not in drawn


def test_the_same_input_gives_the_same_bytes() -> None:
    assert draw_rope(margin(), palette=LIGHT, scale_mm=2) == draw_rope(margin(), palette=LIGHT, scale_mm=2)
