"""The five demo cases on paper and in the terminal: whole, two pages, nothing about the surgery left out."""

from __future__ import annotations

import io
import re
from collections import Counter
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from forestay.case.case_file import read_case
from forestay.demo import demo_bytes
from forestay.draw.names import side_words
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.plan.model import Plan
from forestay.report.readable import readable
from forestay.report.sheet import render_pdf
from forestay.text import speaking, translation_doubt

DEMOS = sorted(Path(str(f)) for f in files("forestay.demo").iterdir() if f.name.endswith(".toml"))
MADE = datetime(2026, 11, 25, 8, 5, tzinfo=UTC)


SMALLEST_PT = 7.99


def _even(text: str) -> str:
    return re.sub(r"\s+", "", text).lower()


@pytest.fixture(scope="module", params=DEMOS, ids=lambda p: p.stem)
def plan(request: pytest.FixtureRequest) -> Plan:
    """The plan of one demo case."""
    return make(read_case(request.param), Context.default())


@pytest.fixture(scope="module")
def reader(plan: Plan) -> PdfReader:
    """Its sheet."""
    return PdfReader(io.BytesIO(render_pdf(plan, label="Demo", invented=True, made_at=MADE)))


def test_steps_margins_fallbacks_stops_and_doses_all_stand_on_paper(plan: Plan, reader: PdfReader) -> None:
    assert len(reader.pages) == 2
    front, back = (_even(page.extract_text()) for page in reader.pages)
    assert "shortenedtofit" not in front + back
    side = _even(side_words(plan.eye["side"]))
    assert side in front
    assert side in back
    on_front = [plan.decision.sentence, *(s.do for s in plan.steps), *(m.step for m in plan.margins)]
    on_front += [m.says for m in plan.margins if m.group == "main"] + [f.do for f in plan.decision.first]
    assert [t for t in on_front if _even(t) not in front] == []
    on_back = [f.event for f in plan.fallbacks] + [a for f in plan.fallbacks for a in f.do]
    on_back += [s.must_not for s in plan.stops] + [p.label for p in plan.lens.positions]
    on_back += [k.item for k in plan.kit["items"]] + [d.dose for d in plan.doses] + [d.caution for d in plan.doses]
    on_back += [v.check for v in plan.after.visits[:2]]
    assert [t for t in on_back if _even(t) not in back] == []
    told_twice = [*plan.after.warnings, *plan.consent]  # the consent sheet says these too; what is left out is counted
    counted = f"{len(plan.consent)}pointstosettlebeforeconsent,{len(plan.after.warnings)}warningsforthepatient"
    assert all(_even(t) in back for t in told_twice) or counted in back


def test_the_plan_is_set_large_enough_to_read(reader: PdfReader) -> None:
    """No smaller than 8 pt, but for marks in the drawing, signs, and what is said about a row in passing."""
    for page in reader.pages:
        set_in: Counter[float] = Counter()

        def note(text: str, _cm: Any, tm: Any, _font: Any, size: float, to: Counter[float] = set_in) -> None:
            to[round(abs(tm[3]) * size, 2)] += len(text.strip())

        page.extract_text(visitor_text=note)
        small = sum(n for size, n in set_in.items() if size < SMALLEST_PT)
        assert small < 0.15 * set_in.total(), set_in


def test_the_terminal_report_is_whole(plan: Plan) -> None:
    text = _even(readable(plan, label="Demo", width=100))
    said = [plan.decision.sentence, *(s.do for s in plan.steps), *(c.then for s in plan.steps for c in s.cues)]
    said += [m.step for m in plan.margins] + [d.message for d in plan.doubts] + [k.item for k in plan.kit["items"]]
    said += [a for f in plan.fallbacks for a in f.do] + [d.dose for d in plan.doses] + [plan.caution]
    assert [t for t in said if _even(t) not in text] == []


def test_a_longer_language_leaves_no_step_rung_or_dose_off_the_paper_and_says_that_no_surgeon_read_it() -> None:
    with speaking("fr"):
        plan = make(read_case(demo_bytes("brown-pseudoexfoliation"), "brown-pseudoexfoliation.toml"), Context.default())
        reader = PdfReader(io.BytesIO(render_pdf(plan, label="Demo", invented=True, made_at=MADE)))
        front, back = (_even(page.extract_text()) for page in reader.pages)
        doubt = _even(translation_doubt())
    assert [s.do for s in plan.steps if _even(s.do) not in front] == []
    assert [s.must_not for s in plan.stops if _even(s.must_not) not in back] == []
    assert [k.item for k in plan.kit["items"] if _even(k.item) not in back] == []
    assert doubt in front
    assert doubt in back
