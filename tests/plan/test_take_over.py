"""The take-over point, decided beforehand: who does each step, what is said aloud, where places change, what is doubted."""

from __future__ import annotations

from typing import get_args

import pytest

from forestay.case.bodies import Decided
from forestay.case.words import say
from forestay.errors import InvalidInput
from forestay.eye.situation import Settled, StepKey
from forestay.plan.model import Plan
from forestay.plan.ruleset import ruleset
from tests.plan.cases import changed, planned, planned_anew, situation

WHY = "the pole has to come up before anybody turns the nucleus"


def trained(**decisions: str) -> Plan:
    """The hard nucleus in the hands of a senior trainee, with decisions."""
    data = changed("hard-poor-endothelium", theatre__surgeon_grade="senior-trainee")
    told = situation(data, **decisions).model_copy(
        update={"settled": (Settled(subject="take_over", choice=decisions.get("take_over", ""), reason=WHY),)}
    )
    return planned_anew(told, draws=100)


@pytest.fixture(scope="module")
def agreed() -> Plan:
    return trained(take_over="pole", hand_back="close")


def test_the_names_of_the_steps_are_those_of_the_rules() -> None:
    keys = [str(r.data["key"]) for r in ruleset("steps")["step"]]
    assert sorted(get_args(StepKey)) == sorted(k for k in keys if k != "refer")


def test_the_supervisor_operates_from_the_decided_step_to_the_decided_step(agreed: Plan) -> None:
    keys = [s.key for s in agreed.steps]
    first, back = keys.index("pole"), keys.index("close")
    who = [s.who for s in agreed.steps]
    assert set(who[:first]) == {"trainee"}
    assert set(who[first:back]) == {"supervisor takes over"}
    assert set(who[back:]) == {"trainee"}
    assert all(s.take_over is None for s in agreed.steps[first:back])


def test_it_is_said_at_time_out_with_its_reason_and_again_where_places_change(agreed: Plan) -> None:
    names = {s.key: s.name for s in agreed.steps}
    said = agreed.steps[0].do
    for part in (f"takes over at “{names['pole']}”", f"goes on from “{names['close']}”", WHY):
        assert part in said
    changes = [s.key for s in agreed.steps if s.do.startswith("Change places, as agreed")]
    assert changes == ["pole", "close"]


def test_what_goes_beyond_the_usual_limit_of_the_grade_is_doubted(agreed: Plan) -> None:
    """A senior trainee usually leaves steps of level 3 to the supervisor; those agreed otherwise are named."""
    levels = {str(r.data["key"]): int(r.data["level"]) for r in ruleset("steps")["step"]}
    beyond = [s.name.lower() for s in agreed.steps if s.who == "trainee" and levels[s.key] > 2]
    doubts = [d.message for d in agreed.doubts if d.code == "beyond-usual-limit"]
    assert len(doubts) == bool(beyond)
    assert all(name in doubts[0] for name in beyond)
    early = trained(take_over="time-out")
    assert not [d for d in early.doubts if d.code == "beyond-usual-limit"]
    assert {s.who for s in early.steps} == {"supervisor takes over"}


def test_a_decision_that_does_not_fit_is_said_and_the_usual_limits_hold() -> None:
    elsewhere = trained(take_over="section-whole")
    assert "take-over-not-a-step" in {d.code for d in elsewhere.doubts}
    assert [s.who for s in elsewhere.steps] == [s.who for s in trained().steps]
    backwards = trained(take_over="pole", hand_back="tunnel")
    assert "hand-back-not-later" in {d.code for d in backwards.doubts}
    assert backwards.steps[-1].who == "supervisor takes over"
    assert "ends the operation" in backwards.steps[0].do
    alone = planned(changed("hard-poor-endothelium"), draws=100, take_over="pole")
    assert "take-over-without-trainee" in {d.code for d in alone.doubts}
    assert {s.who for s in alone.steps} == {"surgeon"}


def test_an_unknown_step_is_refused_by_name_and_a_known_one_reads_as_words() -> None:
    with pytest.raises(InvalidInput, match="take_over"):
        Decided(subject="take_over", choice="prolapse-somehow", reason="none")
    assert say(Decided(subject="take_over", choice="pole", reason=WHY)).endswith(f": {WHY}")
    assert "pole" in say(Decided(subject="take_over", choice="pole", reason=WHY)).lower()
    assert "ends the operation" in say(Decided(subject="hand_back", choice="end", reason=WHY))
