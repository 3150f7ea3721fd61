"""Whether and when: each finding that can hold an operation back, with the reason and what would change it."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.plan.deciding import GRAVITY
from forestay.plan.ruleset import ruleset
from tests.plan.cases import changed, planned

GAP = "trauma-gap"
LONG = "long-vitrectomised-only-eye"
BROWN = "brown-pseudoexfoliation"
HARD = "hard-poor-endothelium"
# Rules of practice as the management evidence gives them: F1 and F2 (first and second eye), A2 (INR), section 1 (loose
# lens, ring, fixation), section 4 (infection after 4 to 7 days), section 6 (refraction stable at two weeks).
VERDICTS: list[tuple[str, dict[str, Any], str, str]] = [
    (GAP, {"eye__light_projection": "none"}, "do-not-operate", "no-light"),
    (
        GAP,
        {"eye__light_projection": "defective", "eye__relative_afferent_defect": True},
        "operate-later",
        "afferent-and-projection",
    ),
    (GAP, {"person__age_years": 5, "person__weight_kg": 18}, "refer", "child"),
    (GAP, {"eye__pressure_mmhg": 34}, "operate-later", "pressure"),
    (GAP, {"signs__external_infection": True}, "operate-later", "infection"),
    (LONG, {"person__inr": 4.2}, "operate-later", "inr-high"),
    (
        GAP,
        {"signs__fundus_view": False, "biometry__posterior_segment_scan": "none"},
        "operate-later",
        "no-view-no-scan",
    ),
    (GAP, {"biometry__posterior_segment_scan": "detachment"}, "refer", "detachment"),
    (GAP, {"theatre__has": ["tension-ring", "ring-segment"]}, "refer", "no-cutter-weak"),
    (GAP, {"theatre__has": ["vitrector"], "signs__dialysis_clock_hours": [3, 4, 5]}, "operate-later", "ring-missing"),
    (GAP, {"signs__phacodonesis": "at-rest", "theatre__retina_service": "days"}, "refer", "lens-loose-no-retina"),
    (LONG, {"signs__phacodonesis": "after-movement"}, "refer", "only-eye-weak-retina-far"),
    (LONG, {"theatre__surgeon_grade": "senior-trainee"}, "refer", "only-eye-trainee"),
    (
        GAP,
        {"fellow__cataract": True, "fellow__phacodonesis": "none", "fellow__pseudoexfoliation": False},
        "operate-later",
        "other-eye-first",
    ),
    (BROWN, {"fellow__days_since_surgery": 3}, "operate-later", "fellow-just-operated"),
    (BROWN, {"fellow__complication": "infection"}, "operate-later", "fellow-infected"),
    (
        HARD,
        {"fellow__complication": "vitreous-loss", "theatre__surgeon_grade": "junior-trainee"},
        "refer",
        "fellow-capsule-trainee",
    ),
]


@pytest.mark.parametrize(("name", "change", "verdict", "rule"), VERDICTS, ids=[v[3] for v in VERDICTS])
def test_each_finding_turns_the_plan_with_a_reason_and_what_would_change_it(
    name: str, change: dict[str, Any], verdict: str, rule: str
) -> None:
    decision = planned(changed(name, **change), draws=50).decision
    assert decision.decision == verdict
    told = {w.rule: w for w in decision.would_change}
    assert told[rule].what
    assert told[rule].because in decision.why
    assert GRAVITY.index(told[rule].then) <= GRAVITY.index(decision.decision)


def test_what_would_change_it_does() -> None:
    held = planned(changed(GAP, eye__pressure_mmhg=34), draws=50).decision
    assert [w.then for w in held.would_change] == ["operate"]
    assert planned(changed(GAP, eye__pressure_mmhg=18), draws=50).decision.decision == "operate"


def test_with_two_reasons_neither_alone_changes_it() -> None:
    both = planned(changed(GAP, eye__pressure_mmhg=34, signs__external_infection=True), draws=50).decision
    assert {w.rule: w.then for w in both.would_change} == {"pressure": "operate-later", "infection": "operate-later"}


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"fellow__days_since_surgery": 10}, "fellow-refraction-early"),
        ({"fellow__refraction_d": -2.0, "fellow__planned_refraction_d": -0.5}, "fellow-refraction-missed"),
        ({"fellow__complication": "capsule-rupture"}, "fellow-capsule"),
        ({"fellow__complication": "macular-oedema"}, "fellow-oedema"),
        ({"fellow__complication": "detachment"}, "fellow-detached"),
        ({"fellow__complication": "choroidal-haemorrhage"}, "fellow-bled"),
        ({"fellow__pupil_at_surgery": "came-down"}, "fellow-pupil"),
    ],
)
def test_what_the_first_eye_did_is_heard(change: dict[str, Any], rule: str) -> None:
    without, with_it = planned(changed(BROWN), draws=50), planned(changed(BROWN, **change), draws=50)
    assert rule in {f.rule for f in with_it.decision.first} - {f.rule for f in without.decision.first}


def test_the_first_eyes_zonule_is_evidence_for_the_second() -> None:
    eye = {"signs__dialysis_clock_hours": [], "signs__iridodonesis": False}
    clean = planned(changed(LONG, **eye, fellow__complication="none"), draws=50)
    gave = planned(changed(LONG, **eye, fellow__complication="zonular-dialysis"), draws=50)
    hours = [next(e.value for e in p.estimates if e.name == "zonule") for p in (clean, gave)]
    assert hours[1] < hours[0]


def test_every_verdict_but_operate_says_what_would_change_it() -> None:
    for rule in ruleset("decision")["rule"]:
        assert ("change" in rule.data) == (rule.data["verdict"] != "operate"), rule.data["key"]


def test_reasons_that_fall_together_are_one() -> None:
    # pressure of 33 mmHg kept up by a swollen lens: one pressure to bring down, though two rules speak of it
    held = planned(changed("white-swollen", biometry__posterior_segment_scan="normal"), draws=50).decision
    assert [w.then for w in held.would_change] == ["operate"]


@pytest.mark.parametrize("field", ["biometry__axial_length_mm", "biometry__k1_d"])
def test_without_a_power_the_first_thing_is_to_measure(field: str) -> None:
    without, with_it = (planned(changed(GAP, **change), draws=50).decision for change in ({field: None}, {}))
    assert "no-lens-power" in {f.rule for f in without.first}
    assert "no-lens-power" not in {f.rule for f in with_it.first}


def test_an_eye_that_nobody_looked_at_says_so_first() -> None:
    bare = {"person": {"age_years": 70}, "eye": {"side": "left"}}
    told = {f.rule for f in planned(bare, draws=50).decision.first}
    assert {"lens-unseen", "no-lens-power"} <= told
