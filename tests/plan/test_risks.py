"""Risks of an option: each with population and interval, never one technique's trainees on another, own record used."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from forestay.plan.context import Context, Practice
from forestay.plan.make import make
from forestay.plan.model import Plan, Risk
from forestay.risk.own_record import OwnRecord
from tests.plan.cases import NAMES, changed, planned, raw, situation

CONTEXT = Context.default(draws=50)


def with_practice(data: dict[str, Any], **practice: Any) -> Plan:
    return make(situation(data), replace(CONTEXT, practice=Practice(name="own", digest="x", **practice)))


def risks(plan: Plan, technique: str) -> dict[str, Risk]:
    option = next(o for o in plan.options if o.technique == technique)
    return {r.name: r for r in option.risks}


@pytest.mark.parametrize("name", NAMES)
def test_every_risk_says_whose_eyes_it_was_and_what_its_interval_is(name: str) -> None:
    for option in planned(raw(name), draws=50).options:
        for risk in option.risks:
            assert risk.population, (option.technique, risk.name)
            assert risk.complication
            assert risk.origin.sources
            assert bool(risk.interval) or risk.low == risk.high


def test_a_trainee_is_told_no_less_by_hand_than_a_consultant() -> None:
    """The model's odds of trainees are of phacoemulsification: they are left out elsewhere, and nothing is taken off."""
    plans = [
        planned(changed("white-swollen", theatre__surgeon_grade=grade), draws=50)
        for grade in ("consultant", "junior-trainee")
    ]
    one, other = (risks(plan, "manual-small-incision")["capsule-rupture"] for plan in plans)
    # and it is not set against the trainee's own figure by ultrasound
    told = [next(w for w in plan.chosen.why if w.startswith("Beside phacoemulsification")) for plan in plans]
    assert ["capsule rupture" in words for words in told] == [True, False]
    assert other.probability == one.probability
    assert "trainee" not in one.label
    assert (one.other_hands, other.other_hands) == (False, True)
    assert "in a trainee's, expect more" in other.label


def test_no_option_puts_trainees_of_another_technique_on_its_own() -> None:
    plan = planned(changed("brown-pseudoexfoliation", theatre__surgeon_grade="senior-trainee"), draws=50)
    # Haripriya 2012: trainees 1.46 % by hand, 4.8 % with ultrasound
    assert risks(plan, "manual-small-incision")["trainee"].probability == pytest.approx(0.0146)
    assert risks(plan, "phacoemulsification")["trainee"].probability == pytest.approx(0.048)
    assert "trainee" not in risks(plan, "extracapsular")


def test_an_own_record_moves_its_technique_most_and_shows_its_weight() -> None:
    eye = raw("brown-pseudoexfoliation")
    record = OwnRecord("manual-small-incision", operations=2000, events=20, expected=40.0)
    plain, own = planned(eye, draws=50), with_practice(eye, records=(record,))
    for technique, factor in (("manual-small-incision", (3.5208 + 20) / (3.5208 + 40)),):
        before = risks(plain, technique)["capsule-rupture"]
        after = risks(own, technique)["capsule-rupture"]
        odds = [p / (1 - p) for p in (before.probability, after.probability)]
        assert odds[1] / odds[0] == pytest.approx(factor, rel=0.02)  # gamma(a, a), a = 1 / (exp(0.25) - 1)
        assert any("own data weigh 92" in value for _, value in after.origin.inputs)  # 40 / 43.52
        assert after.high / after.low < before.high / before.low
    other = [risks(p, "phacoemulsification")["capsule-rupture"].probability for p in (plain, own)]
    assert other[1] < other[0]  # the surgeon's other techniques are the starting point


def test_an_empty_practice_changes_nothing() -> None:
    eye = raw("trauma-gap")
    empty, plain = with_practice(eye), make(situation(eye), CONTEXT)
    assert [o.risks for o in empty.options] == [o.risks for o in plain.options]
    assert empty.estimates == plain.estimates


def test_own_ratios_of_signs_reach_the_plan() -> None:
    from forestay.calc.zonule_input import OwnRatio

    eye = changed("long-vitrectomised-only-eye", signs__vitrectomy=True)
    own = with_practice(eye, zonule_ratios=(OwnRatio(sign="vitrectomy", ratio=15.0),))
    hours = [next(e.value for e in p.estimates if e.name == "zonule") for p in (make(situation(eye), CONTEXT), own)]
    assert hours[1] < hours[0]


def test_findings_at_surgery_move_the_plan_as_it_said_they_would() -> None:
    eye = raw("hard-poor-endothelium")
    plan = planned(eye, draws=50)
    assert plan.finding_changes
    for row in plan.finding_changes:
        told: dict[str, Any] = {}
        for path, value in row.facts.items():
            told[path.replace(".", "__")] = value
        after = planned(changed("hard-poor-endothelium", **told), draws=50)
        assert next(e.value for e in after.estimates if e.name == "zonule") == pytest.approx(row.hours_after)


def test_what_is_known_already_is_not_worked_out_again() -> None:
    plan = planned(changed("hard-poor-endothelium", surgery__puncture="folds"), draws=50)
    assert "puncture-folds" not in {row.key for row in plan.finding_changes}


def test_a_ratio_is_told_only_where_no_rate_says_it() -> None:
    found = risks(planned(raw("brown-pseudoexfoliation"), draws=50), "manual-small-incision")
    assert any("pseudoexfoliation" in r for r in found["dropped_nucleus"].raised_by)
    # eyes with the sign have a rate of their own: a ratio would be multiplied onto a second base
    for name in ("late_dislocation", "late_dislocation_pseudoexfoliation", "complication_pseudoexfoliation"):
        assert not any("pseudoexfoliation" in r for r in found[name].raised_by)


def test_a_high_myope_is_not_counted_long_twice() -> None:
    found = risks(planned(raw("long-vitrectomised-only-eye"), draws=50), "manual-small-incision")
    assert any("25 mm" in r for r in found["detachment"].raised_by)
    assert not any("25 mm" in r for r in found["detachment_high_myopia"].raised_by)


def test_a_finding_that_would_move_nothing_is_not_listed() -> None:
    # an eye whose lens is seen to move has weakness already: folds at the puncture are expected
    plan = planned(raw("brown-pseudoexfoliation"), draws=50)
    keys = {row.key for row in plan.finding_changes}
    assert "puncture-folds" not in keys
    assert {"travel-2", "bag-follows"} <= keys


def test_a_gap_says_beside_the_figure_that_more_is_to_be_expected() -> None:
    gap, none = (changed("trauma-gap", signs__dialysis_clock_hours=hours) for hours in ([3, 4, 5], None))
    told = [risks(planned(eye, draws=50), "manual-small-incision")["capsule-rupture"].label for eye in (gap, none)]
    assert "expect more" in told[0]
    assert "expect more" not in told[1]


def test_a_polar_cataract_says_that_the_figure_does_not_know_it() -> None:
    # the series of polar cataracts: 20 % (7 to 36), many times what the model gives
    polar = risks(
        planned(changed("hard-poor-endothelium", lens__posterior_polar=True), draws=50), "phacoemulsification"
    )
    assert "many times more" in polar["capsule-rupture"].label
    assert polar["capsule_rupture_polar"].probability > 2 * polar["capsule-rupture"].probability
