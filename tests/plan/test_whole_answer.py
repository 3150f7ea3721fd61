"""An answer that is whole: no bag spoken of where it is gone, no waiting for sight where there is none, referral argued."""

from __future__ import annotations

import pytest

from tests.plan.cases import changed, planned, raw

BROWN, HARD, LONG, WHITE = (
    "brown-pseudoexfoliation",
    "hard-poor-endothelium",
    "long-vitrectomised-only-eye",
    "white-swollen",
)


def test_after_a_lens_taken_whole_no_visit_speaks_of_a_bag_and_the_sutures_come_out() -> None:
    """Sutures of a large wound: 8 or 12 weeks, selectively from 5 to 6 (management evidence, section 6)."""
    plan = planned(changed(BROWN, signs__subluxated=True, signs__phacodonesis="at-rest"), draws=50)
    assert plan.chosen.technique == "intracapsular"
    said = [v.check + v.act_on for v in plan.after.visits] + list(plan.consent)
    assert [s for s in said if "opening" in s or "bag" in s or "a ring stays" in s] == []
    assert any("sutures of the wound" in v.check and v.when == "week 6 to 12" for v in plan.after.visits)
    kept = planned(raw(BROWN), draws=50)
    assert any("shrinking opening" in v.act_on for v in kept.after.visits)
    assert not any("sutures of the wound" in v.check for v in kept.after.visits)


def test_an_eye_without_light_is_not_told_to_wait_and_gets_no_lens() -> None:
    plan = planned(changed(WHITE, eye__light_projection="none", eye__visual_acuity="NPL"), draws=50)
    assert plan.decision.decision == "do-not-operate"
    assert {f.rule for f in plan.decision.first} == {"no-light", "pressure"}
    assert "a tumour may hide there" in plan.decision.sentence
    assert plan.lens.positions == ()
    assert planned(raw(WHITE), draws=50).lens.positions != ()


@pytest.mark.parametrize(("count", "verdict"), [(600, "operate-later"), (1020, "operate")])
def test_a_cornea_that_will_fail_is_seen_first_by_those_who_graft(count: int, verdict: str) -> None:
    """Expected counts under 700 are warned of (management evidence, E1 and E2)."""
    decision = planned(changed(HARD, biometry__endothelial_count_per_mm2=count), draws=50).decision
    assert decision.decision == verdict
    assert ("cornea-first" in {f.rule for f in decision.first}) is (verdict == "operate-later")
    assert any(f.rule == "cornea-graft" for f in decision.first)


def test_where_a_graft_is_spoken_of_no_toric_lens_and_the_more_myopic_power() -> None:
    against = {
        "biometry__k1_axis_deg": 80,
        "biometry__k2_axis_deg": 170,
        "biometry__k1_d": 42.0,
        "biometry__k2_d": 44.5,
    }
    plan = planned(changed(HARD, **against), draws=50)
    assert "a graft is spoken of" in plan.astigmatism.toric_says
    assert any(s.startswith("A graft is spoken of") and "0.5 to 1 D" in s for s in plan.lens.learnt)
    many = planned(changed(HARD, **against, biometry__endothelial_count_per_mm2=2500), draws=50)
    assert "toric lens would need" in many.astigmatism.toric_says
    assert not any(s.startswith("A graft") for s in many.lens.learnt)


def test_in_an_only_eye_operating_here_is_weighed_against_referral() -> None:
    plan = planned(raw(LONG), draws=50)
    told = next(f for f in plan.decision.first if f.rule == "only-eye-elsewhere")
    assert told.do == "weigh referral with the patient: elsewhere there is a vitreous surgeon at the table"
    referral = next(o for o in plan.options if o.technique == "referral")
    assert "a vitreous surgeon at the table" in referral.why[0]
    near = planned(changed(LONG, theatre__retina_service="in-house"), draws=50).decision
    assert "only-eye-elsewhere" not in {f.rule for f in near.first}
