"""What cases teach flows back into the next plan, with its weight shown; invented cases never do."""

from __future__ import annotations

from dataclasses import replace

import pytest

from forestay.case.case_file import read_case
from forestay.demo import demo_bytes
from forestay.plan.context import Context, Practice
from forestay.plan.make import make
from forestay.plan.model import Plan, Risk
from forestay.review.invented import Truth, outcomes
from forestay.review.outcome import Outcome
from forestay.review.practice import practice_of


@pytest.fixture(scope="module")
def cases() -> list[Outcome]:
    made = outcomes(400, seed=5, truth=Truth(odds_ratio=3.0, last_odds_ratio=3.0))
    return [replace(o, invented=False) for o in made]


def rupture(plan: Plan, technique: str = "manual-small-incision") -> Risk:
    option = next(o for o in plan.options if o.technique == technique)
    return next(risk for risk in option.risks if risk.name == "capsule-rupture")


def test_no_case_and_invented_cases_change_nothing() -> None:
    assert practice_of([]) == Practice()
    assert practice_of(outcomes(50, seed=5, truth=Truth())) == Practice()


def test_a_record_adds_up(cases: list[Outcome]) -> None:
    (record,) = practice_of(cases).records
    assert record.technique == "manual-small-incision"
    assert (record.operations, record.events) == (400, sum(o.rupture for o in cases))
    assert record.expected == pytest.approx(sum(o.risks["capsule-rupture"] for o in cases))
    assert practice_of(cases[::-1]) == practice_of(cases)
    assert practice_of(cases[:-1]).digest != practice_of(cases).digest


def test_a_worse_record_raises_the_next_risk_and_says_how_much_it_weighs(cases: list[Outcome]) -> None:
    situation = read_case(demo_bytes("brown-pseudoexfoliation"), "case.toml")
    plain = make(situation, Context.default())
    own = make(situation, replace(Context.default(), practice=practice_of(cases)))
    before, after = rupture(plain), rupture(own)
    assert after.probability > before.probability
    assert before.by_model is None
    assert after.by_model == pytest.approx(before.probability, rel=1e-9)
    (told,) = [value for name, value in after.origin.inputs if name == "own record"]
    assert "own data weigh" in told
    assert own.version["practice"] != plain.version["practice"]
