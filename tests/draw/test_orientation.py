"""The handbook's picture says what the drawings of a plan do."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from forestay.draw.orientation import SIDES, VIEWS, draw_orientation, place
from forestay.draw.palette import LIGHT
from forestay.frame import Side


@pytest.mark.parametrize("side", SIDES)
def test_the_examiner_sees_twelve_up_and_three_at_the_right(side: Side) -> None:
    assert place(12, 1.0, side, "examiner") == pytest.approx((0, 1))
    assert place(3, 1.0, side, "examiner") == pytest.approx((1, 0))


@pytest.mark.parametrize(
    ("side", "view", "bottom"),
    [("right", "superior", 12), ("left", "superior", 12), ("right", "temporal", 9), ("left", "temporal", 3)],
)
def test_the_surgeons_seat_is_below(side: Side, view: str, bottom: float) -> None:
    assert place(bottom, 1.0, side, view) == pytest.approx((0, -1))


def test_a_superior_seat_sees_nine_at_the_right_in_either_eye() -> None:
    for side in SIDES:
        assert place(9, 1.0, side, "superior") == pytest.approx((1, 0))


def test_all_six_views_are_drawn_and_named() -> None:
    root = ET.fromstring(draw_orientation(palette=LIGHT))  # noqa: S314
    classes = [e.get("class") for e in root.iter() if (e.get("class") or "").startswith("view ")]
    assert classes == [f"view {side} {view}" for view in VIEWS for side in SIDES]
    texts = [e.text for e in root.iter() if e.tag.endswith("}text")]
    assert texts.count("surgeon") == 4
    assert texts.count("Right eye") == texts.count("Left eye") == 3
    assert all(texts.count(f"{h}") == 6 for h in range(1, 13))
    assert all(texts.count(f"{m}°") == 6 for m in (0, 45, 90, 135))
