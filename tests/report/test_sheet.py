"""The printed sheet: two pages whatever comes, side and caution on both, text as text, the same bytes each time."""

from __future__ import annotations

import io
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from pypdf import PdfReader

from forestay.errors import InvalidInput
from forestay.frame import Side
from forestay.plan.model import Cue, Plan
from forestay.report import sheet as module
from forestay.report.sheet import FONT_FILES, SheetError, render_pdf
from forestay.report.sheet_data import sheet
from tests.factories import CAUTION, example_plan, margin

MADE = datetime(2026, 11, 25, 8, 5, tzinfo=UTC)


def pages(plan: Plan, *, label: str = "Case M-104", invented: bool = True) -> list[str]:
    """The text of each page, white space evened out."""
    reader = PdfReader(io.BytesIO(render_pdf(plan, label=label, invented=invented, made_at=MADE)))
    return [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]


@pytest.mark.parametrize(
    ("side", "seat", "words"), [("right", "superior", "Right eye"), ("left", "temporal", "Left eye")]
)
def test_side_identity_caution_and_count_stand_on_both_pages(side: Side, seat: str, words: str) -> None:
    front, back = pages(example_plan(side, seat))
    other = "Left eye" if side == "right" else "Right eye"
    for number, text in enumerate((front, back), start=1):
        assert words in text
        assert other not in text
        assert "Case M-104" in text
        assert "invented scenario" in text
        assert CAUTION in text
        assert f"page {number} of 2" in text
        assert "made 25 Nov 2026, 08:05 UTC" in text
        assert "evidence 0f3a9c2e17b4" in text
    assert f"as the surgeon sits, {seat}" in front


@pytest.fixture(scope="module")
def example() -> tuple[str, str]:
    """Front and back of the example, set once."""
    front, back = pages(example_plan())
    return front, back


def test_the_front_holds_decision_margins_and_steps(example: tuple[str, str]) -> None:
    plan, (front, _) = example_plan(), example
    assert plan.decision.sentence in front
    assert "First: repeat the length by immersion" in front
    for shown in plan.margins:
        assert shown.step in front
    assert "1 in 9" in front
    assert "Risk: Capsule tear or vitreous loss 6.2 % (3.5 to 10.5)" in front
    assert "says nothing about percentages" in front
    for step in plan.steps:
        assert step.name in front
        assert step.do in front
    assert front.count("capsule hooks as soon as there is an edge") == len(plan.steps)
    assert "gap 6–7" in front


def test_the_back_holds_fallbacks_lens_kit_doses_stops_and_after(example: tuple[str, str]) -> None:
    plan, (_, back) = example_plan(), example
    for fallback in plan.fallbacks:
        assert fallback.event in back
        assert all(action in back for action in fallback.do)
    for position in plan.lens.positions:
        assert position.label in back
    assert "21.37" in back
    assert "21.5: −0.50" in back
    assert "vitrector, set up and tested MISSING" in back
    assert "trypan blue not known" in back
    for dose in plan.doses:
        assert dose.dose in back
    for stop in plan.stops:
        assert stop.must_not[0].upper() + stop.must_not[1:] in back
    assert "act on 25 mmHg or more" in back
    assert plan.consent[0] in back
    assert "recheck axial length" in back
    assert plan.doubts[0].message in back
    assert "1 doubts about the evidence itself, 0 of them behind what is short or decides here" in back


def test_a_real_case_is_not_marked_invented() -> None:
    assert all("invented" not in text for text in pages(example_plan(), invented=False))


def _longer(times: int) -> Plan:
    plan = example_plan()
    words = " More words than a step ought to have, so that the sheet must find room for them."
    cues = tuple(Cue(f"sign {i}", "a meaning", "something to do") for i in range(times))
    return replace(
        plan,
        steps=tuple(replace(s, do=s.do + words * (times // 2), cues=cues) for s in plan.steps * times),
        margins=plan.margins + tuple(margin(f"extra-{i}") for i in range(3 * times)),
        fallbacks=tuple(replace(f, do=f.do * times) for f in plan.fallbacks * times),
        kit={"items": plan.kit["items"] * times, "missing": plan.kit["missing"]},
        doses=plan.doses * (4 * times),
        stops=plan.stops * (2 * times),
        doubts=plan.doubts * (5 * times),
    )


def test_a_long_plan_stays_on_two_pages_and_counts_what_is_left_out() -> None:
    times = 4
    plan = _longer(times)
    read = pages(plan)
    assert len(read) == 2
    front, back = read
    shown = front.count("More words than a step ought to have") // (times // 2)
    assert 0 < shown < len(plan.steps)
    assert f"+ {len(plan.steps) - shown} more, on the page of this case and in the exported plan" in front
    assert f"{len(plan.steps) * times} more signs to watch for" in front
    assert re.search(r"\+ \d+ more, on the page of this case and in the exported plan", back)
    for text in read:
        assert "Right eye" in text
        assert CAUTION in text


def test_even_one_endless_sentence_cannot_make_a_third_page() -> None:
    plan = example_plan()
    endless = replace(plan, decision=replace(plan.decision, sentence="word " * 1500))
    front, back = pages(endless)
    assert "Shortened to fit" in front
    assert "Shortened to fit" not in back
    assert CAUTION in front


def test_a_plan_without_an_operation_is_set_too() -> None:
    plan = replace(
        example_plan(),
        measures=None,
        drawing=None,
        margins=(),
        steps=(),
        fallbacks=(),
        stops=(),
        doses=(),
        unassessed=(),
    )
    front, back = pages(replace(plan, kit={"items": [], "missing": []}, lens=replace(plan.lens, positions=())))
    assert "No drawing" in front
    assert "Right eye" in back


def test_words_are_never_read_as_markup() -> None:
    wild = '#panic("x") *bold* $x^2$ @ref <label> // note \\ #sys.inputs & <script>'
    plan = example_plan()
    plan = replace(plan, decision=replace(plan.decision, sentence=wild), steps=(replace(plan.steps[0], do=wild),))
    front, _ = pages(plan, label="#Case_*1*")
    assert front.count(wild) == 2
    assert "#Case_*1*" in front


def test_signs_outside_the_main_font_are_set() -> None:
    plan = example_plan()
    front, _ = pages(replace(plan, decision=replace(plan.decision, sentence="Pressure ≥ 25 mmHg, 10 µm → wait.")))
    assert "Pressure ≥ 25 mmHg, 10 µm → wait." in front


def test_the_same_plan_and_time_give_the_same_bytes() -> None:
    one, other = (render_pdf(example_plan(), label="A", invented=True, made_at=MADE) for _ in range(2))
    assert one == other
    assert one != render_pdf(example_plan(), label="A", invented=True, made_at=MADE + timedelta(minutes=1))


def test_sheets_made_at_once_do_not_mix() -> None:
    labels = [f"Case {i}" for i in range(4)]
    alone = [render_pdf(example_plan(), label=label, invented=True, made_at=MADE) for label in labels]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda n: render_pdf(example_plan(), label=n, invented=True, made_at=MADE), labels))
    assert alone == together


def test_the_file_is_tagged_titled_and_carries_its_fonts() -> None:
    reader = PdfReader(io.BytesIO(render_pdf(example_plan(), label="Case M-104", invented=True, made_at=MADE)))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert reader.metadata is not None
    assert reader.metadata.title == "Plan for Case M-104, right eye"
    assert reader.metadata.creation_date == MADE
    width, height = (float(v) / 72 * 25.4 for v in reader.pages[0].mediabox.upper_right)
    assert (width, height) == pytest.approx((210, 297), abs=0.5)  # A4, ISO 216
    fonts = reader.pages[0]["/Resources"]["/Font"]
    assert any("Atkinson" in str(font.get_object()["/BaseFont"]) for font in fonts.values())


def test_a_time_without_zone_is_refused() -> None:
    with pytest.raises(InvalidInput) as caught:
        render_pdf(example_plan(), label="A", invented=True, made_at=datetime(2026, 11, 25, 8, 5))  # noqa: DTZ001
    assert caught.value.field == "made_at"


def test_another_zone_is_printed_as_given() -> None:
    there = datetime(2026, 11, 25, 13, 35, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    reader = PdfReader(io.BytesIO(render_pdf(example_plan(), label="A", invented=True, made_at=there)))
    assert "made 25 Nov 2026, 13:35 UTC+05:30" in reader.pages[0].extract_text()


@pytest.mark.parametrize("label", ["", "   ", "x" * 81])
def test_a_label_that_is_none_is_refused(label: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        render_pdf(example_plan(), label=label, invented=True, made_at=MADE)
    assert caught.value.field == "label"


def test_missing_fonts_are_one_clear_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "font_folder", lambda: tmp_path)
    with pytest.raises(SheetError) as caught:
        render_pdf(example_plan(), label="A", invented=True, made_at=MADE)
    assert FONT_FILES[0] in caught.value.message
    assert caught.value.as_dict()["error"]["code"] == "sheet-not-made"


def test_the_point_of_taking_over_stands_at_its_step() -> None:
    plan = example_plan()
    step = replace(plan.steps[0], take_over="after two tries")
    made = sheet(replace(plan, steps=(step,)), label="Demo", invented=True, made_at=datetime(2026, 11, 25, tzinfo=UTC))
    assert made["steps"][0]["do"] == f"{step.do} Take over: after two tries"
