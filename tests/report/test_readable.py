"""The plan in a terminal: decision, then margins, then all the rest, in plain text of the width asked for."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.report.readable import NARROWEST, readable, text_rope
from forestay.report.words import moment_words
from forestay.text import field_words
from tests.factories import CAUTION, example_plan, margin, zonule_margin

HEADINGS = (
    "Margins",
    "Estimates (central 90 %)",
    "Choice",
    "Lens by position",
    "Steps",
    "On the trolley",
    "Doses",
    "If this happens",
    "Must not be done in this eye",
    "After",
    "Doubts",
)


def test_order_side_and_caution() -> None:
    text = readable(example_plan("left"), label="Case M-104", width=100)
    lines = text.splitlines()
    assert lines[0].startswith("LEFT EYE · Case M-104")
    places = [lines.index(h) for h in HEADINGS]
    assert places == sorted(places)
    sentence = example_plan().decision.sentence.split()[0]
    assert lines.index(next(line for line in lines if line.startswith(sentence))) < places[0]
    assert CAUTION in " ".join(lines)


def test_nothing_of_the_plan_is_lost() -> None:
    plan = example_plan()
    text = " ".join(readable(plan, label="A", width=200).split())
    said = [plan.decision.sentence, *(f.do for f in plan.decision.first), *(m.step for m in plan.margins)]
    said += [m.says for m in plan.margins if m.group == "main"] + [e.label for e in plan.estimates]
    said += [o.label for o in plan.options] + [p.label for p in plan.lens.positions] + [s.do for s in plan.steps]
    said += [c.then for s in plan.steps for c in s.cues] + [k.item for k in plan.kit["items"]]
    said += [d.dose for d in plan.doses] + [f.event for f in plan.fallbacks]
    said += [a for f in plan.fallbacks for a in f.do] + [s.must_not for s in plan.stops]
    said += [d.message for d in plan.doubts] + list(plan.consent) + [v.act_on for v in plan.after.visits]
    assert [s for s in said if s not in text] == []
    assert "vitrector, set up and tested [MISSING]" in text
    assert "recheck axial length" in text


@pytest.mark.parametrize("width", [20, 60, 80, 120])
def test_no_line_is_wider_than_asked(width: int) -> None:
    text = readable(example_plan(), label="Case M-104", width=width)
    assert max(len(line) for line in text.splitlines()) <= max(width, NARROWEST)
    assert "\x1b" not in text
    assert text.endswith("\n")


def test_comparative_margins_carry_no_chance_and_no_number() -> None:
    lines = readable(example_plan(), label="A", width=100).splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("Zonule, against"))
    rows = lines[start + 1 : start + 7]
    assert not any("chance" in row or any(c.isdigit() for c in row) for row in rows)


@pytest.mark.parametrize(
    ("value", "drawn"),
    [
        (1.0, "          |=========O"),
        (0.5, "          |====O     "),
        (0.0, "          |O         "),
        (-0.5, "     O~~~~|          "),
        (-1.0, "O~~~~~~~~~|          "),
        (1.5, "          |=========>"),
        (-1.5, "<~~~~~~~~~|          "),
    ],
)
def test_text_ropes(value: float, drawn: str) -> None:
    assert text_rope(margin(needs=0.0, has=value), 1.0) == drawn


@given(st.floats(-50, 50), st.floats(0.1, 20))
@settings(deadline=None, derandomize=True)
def test_the_mark_never_moves(value: float, scale: float) -> None:
    drawn = text_rope(zonule_margin("rotation", value), scale)
    assert drawn.index("|") == 10
    assert len(drawn) == 21


def test_a_plan_without_an_operation_is_short_and_whole() -> None:
    plan = example_plan()
    bare = replace(
        plan,
        measures=None,
        drawing=None,
        margins=(),
        unassessed=(),
        steps=(),
        fallbacks=(),
        doses=(),
        stops=(),
        kit={"items": [], "missing": []},
        estimates=(),
        disagreements=({"field": "biometry.axial_length_mm", "values": ("22.4", "23.1")},),
    )
    text = readable(bare, label="A", width=80)
    assert text.startswith("RIGHT EYE")
    assert "Margins" not in text
    assert "two findings disagree on axial length: 22.4 / 23.1" in text


def test_fields_in_plain_words() -> None:
    assert field_words("signs.pupil_dilated_mm") == "pupil dilated"
    assert field_words("k1_axis_deg") == "k1 axis"


def test_a_moment_has_its_month_as_a_word() -> None:
    from datetime import UTC, datetime

    assert moment_words(datetime(2026, 3, 1, 7, 5, tzinfo=UTC)) == "1 Mar 2026, 07:05 UTC"
