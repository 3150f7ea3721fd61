"""A case gone through again: its questions come from its facts, and nothing hidden is shown before it is asked for."""

from __future__ import annotations

import json

import pytest

from forestay.case.bodies import Decided, Done, Found, Happened, Seen
from forestay.cli.main import run
from forestay.errors import NotFound
from forestay.evidence import default_evidence
from forestay.review.again import Again, again
from forestay.services.again import invented, lines
from tests.review.test_outcome import Notebook, operated


def never(situation: object) -> object:
    raise AssertionError("a plan was kept; none is reckoned")


def questions(book: Notebook) -> Again:
    return again("eye-1", book.facts, never, default_evidence().reader())


def test_the_turns_are_before_surgery_each_event_and_after_surgery() -> None:
    book = operated()
    book.note(Happened(event="vitreous-in-chamber", step="lens"))
    book.note(Decided(subject="vitrectomy", choice="yes", reason="a strand at the tunnel"))
    book.note(Done(step="vitrectomy", by="consultant-1"))
    book.note(Seen(day=40, refraction_d=-0.75))
    found = questions(book)
    assert [q.when for q in found.questions] == ["before surgery", "at prolapse", "at lens", "after surgery"]
    first, gap, vitreous, last = found.questions
    assert any("pseudoexfoliation" in line for line in first.known)
    assert not any("dialysis" in line for q in (first,) for line in (*q.known, *q.told, *q.done))
    assert any("zonular dialysis" in line for line in gap.known)
    assert any("lens" in line for line in gap.done)
    assert "a strand at the tunnel" in vitreous.done[0]
    assert "day 40" in last.done[0]
    assert not any(q.reckoned for q in found.questions)
    # Told 4 % of rupture; a torn zonule with vitreous counts as one.
    assert any(line.startswith("capsule rupture or vitreous loss: told 4.0%, it came") for line in found.ending)


def test_events_without_a_step_between_them_are_one_question() -> None:
    book = operated()
    book.note(Happened(event="posterior-capsule-tear", step="lens"))
    book.note(Happened(event="vitreous-in-chamber", step="lens"))
    book.note(Found(values={"surgery.lens_travel_mm": 1.0}))
    assert [q.when for q in questions(book).questions] == ["before surgery", "at prolapse", "at lens"]


def test_a_case_without_an_operation_says_so() -> None:
    book = Notebook()
    book.note(Found(values={"person.age_years": 71, "eye.side": "left"}))
    with pytest.raises(NotFound, match="nothing to go through"):
        questions(book)


@pytest.fixture(scope="module")
def example() -> Again:
    return invented()


def test_the_invented_operation_has_a_kept_plan_and_scores_it(example: Again) -> None:
    assert example.invented
    assert [q.when for q in example.questions] == [
        "before surgery", "during surgery", "at nucleus-up", "after surgery"
    ]  # fmt: skip
    assert not any(q.reckoned for q in example.questions)
    assert any("the gap grows" in line for line in example.questions[2].told)
    assert any("lens travels" in line or "travels" in line for line in example.questions[1].told)
    assert any(line.startswith("refraction: told ") and "-0.25 D" in line for line in example.ending)


def test_no_answer_shows_before_it_is_asked_for(example: Again) -> None:
    hidden = "\n".join(lines(example, upto=3, answered=False))
    assert example.questions[1].done[0] in hidden
    assert example.questions[2].asks in hidden
    assert not any(line in hidden for line in (*example.questions[2].told, *example.ending))
    shown = "\n".join(lines(example, upto=4, answered=True))
    assert all(line in shown for line in example.ending)


def test_the_command_hides_answers_in_json_too(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        run(["again", "--invented", "--question", "2", "--json"])
    assert left.value.code == 0
    told = json.loads(capsys.readouterr().out)
    assert told["of"] == 4
    assert [bool(q["done"]) for q in told["questions"]] == [True, False]
    assert told["ending"] == []
    with pytest.raises(SystemExit) as left:
        run(["again"])
    assert left.value.code == 2
    assert "--invented" in capsys.readouterr().err
