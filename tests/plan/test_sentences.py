"""What the plan says of an eye: every case below is an objection that a surgeon would raise if the sentence were wrong.

The rules tested are those of the rule files, with their sources: practice of the trade unless a number stands there.
"""

from __future__ import annotations

from typing import Any

import pytest

from forestay.plan.model import Plan, Step
from forestay.plan.words_clock import clock_text
from tests.plan.cases import NAMES, changed, planned, raw
from tests.plan.sentences import sentences


def step(plan: Plan, key: str) -> Step:
    """The step of that key."""
    return next(s for s in plan.steps if s.key == key)


def firsts(plan: Plan) -> dict[str, str]:
    """What is to be done first, by rule."""
    return {f.rule: f.do for f in plan.decision.first}


def keys(plan: Plan) -> list[str]:
    """Keys of the steps in order."""
    return [s.key for s in plan.steps]


FINDINGS: list[tuple[str, dict[str, Any], str, str]] = [
    (
        "brown-pseudoexfoliation",
        {"theatre__has": ["vitrector", "dye"]},
        "The pupil of 3.4 mm should do",
        "does not show an opening of 6.5 mm",
    ),
    ("brown-pseudoexfoliation", {"biometry__chamber_depth_mm": 4.4}, "Do not tip it on edge", "Tip the pole opposite"),
    (
        "brown-pseudoexfoliation",
        {"lens__grade": 2, "lens__appearance": "nuclear"},
        "Short by 0.5 mm",
        "Continuous, 5.2 mm",
    ),
    ("brown-pseudoexfoliation", {"person__heart_disease": True}, "wait 1 minute", "No adrenaline bolus"),
    ("brown-pseudoexfoliation", {"signs__synechiae": False}, "Free the synechiae", "Place 5 iris hooks"),
    ("trauma-gap", {"lens__posterior_polar": True}, "Little fluid in many places", "No hydrodissection"),
    ("trauma-gap", {"signs__trauma": False}, "look before dilating", "capsule hooks"),
    ("trauma-gap", {"signs__dialysis_clock_hours": []}, "over the gap at", "a side that proves weaker"),
    ("trauma-gap", {"person__weight_kg": 30}, "at 83 kg", "no more than 4.5 ml at 30 kg"),
    ("white-swollen", {"lens__appearance": "nuclear"}, "Press the dome flat", "Sharp needle, tangential"),
    ("white-swollen", {"lens__appearance": "hypermature"}, "the swollen lens", "protein from a hypermature lens"),
    ("white-swollen", {"person__diabetes": False}, "glucose", "allergies: cephalosporin"),
    (
        "white-swollen",
        {"signs__fundus_view": True, "lens__appearance": "nuclear"},
        "seen for the first time",
        "the retina if vitreous was lost",
    ),
    ("hard-poor-endothelium", {"biometry__endothelial_count_per_mm2": 2500}, "speak of a graft", "must keep 1,000"),
    (
        "hard-poor-endothelium",
        {"biometry__endothelial_count_per_mm2": 2500, "signs__guttae": False},
        "renew the dispersive layer",
        "Dispersive OVD",
    ),
    ("hard-poor-endothelium", {"person__anticoagulant": "none"}, "continue the antiplatelet drug", "no allergy"),
    ("long-vitrectomised-only-eye", {"signs__alpha_blocker": False}, "not drawn", "The pupil of 6.0 mm should do"),
    ("long-vitrectomised-only-eye", {"signs__vitrectomy": False}, "goes soft and leaks", "a suture if it leaks"),
    ("long-vitrectomised-only-eye", {"person__inr": 3.4}, "INR 2.6", "at an INR of 3.4"),
]


@pytest.mark.parametrize(("name", "change", "gone", "comes"), FINDINGS)
def test_a_finding_changes_its_sentence(name: str, change: dict[str, Any], gone: str, comes: str) -> None:
    if gone == "The pupil of 3.4 mm should do":  # never said of a small pupil, whether or not there are hooks
        assert not [s for s in sentences(planned(raw(name))) if gone in s]
    else:
        assert [s for s in sentences(planned(raw(name))) if gone in s], gone
    after = sentences(planned(changed(name, **change)))
    assert not [s for s in after if gone in s], gone
    assert [s for s in after if comes in s], comes


def test_hooks_let_go_before_the_nucleus_passes_and_are_counted_out() -> None:
    plan = planned(raw("brown-pseudoexfoliation"))
    order = keys(plan)
    assert order.index("nucleus-up") < order.index("release-hooks") < order.index("nucleus-out")
    assert (
        order.index("cortex")
        < order.index("ring")
        < order.index("lens")
        < order.index("hooks-out")
        < order.index("ovd-out")
    )
    assert order[0] == "time-out"
    assert order[-1] == "sign-out"
    assert "iris hooks at the tunnel (11 and 1)" in step(plan, "release-hooks").do
    assert plan.measures is not None
    count = plan.measures.pupil_hooks + len(plan.measures.capsule_hook_clocks)
    assert f"Count them: {count}." in step(plan, "hooks-out").do
    assert f"{count} hooks" in step(plan, "sign-out").do


def test_five_iris_hooks_stand_round_a_scleral_tunnel() -> None:
    """Two of five would stand 30 degrees from its middle, inside its pocket: one is put in front of the groove instead, as
    the incision evidence has it for a hook at the tunnel, and the others clear it by more than two hours."""
    plan = planned(raw("white-swollen"))
    m = plan.measures
    assert m is not None
    assert (m.pupil_hooks, m.technique) == (5, "manual-small-incision")
    away = sorted(min((h - m.tunnel_clock) % 12, (m.tunnel_clock - h) % 12) for h in m.hook_clocks)
    assert away == [0, 2.5, 2.5, 5, 5]
    stabs = "at 12, 2:30, 5, 7 and 9:30, aimed at the pupil's edge, the one at 12 in front of the groove"
    assert any(stabs in one.do for one in plan.steps)
    assert "iris hooks at the tunnel (12)" in step(plan, "release-hooks").do


@pytest.mark.parametrize("name", NAMES)
def test_no_two_hooks_share_a_stab(name: str) -> None:
    plan = planned(raw(name))
    assert plan.measures is not None
    at = [*plan.measures.hook_clocks, *plan.measures.capsule_hook_clocks]
    assert len(set(at)) == len(at)


def test_after_an_alpha_blocker_hooks_guard_a_wide_pupil() -> None:
    """Hooks before the capsulorhexis (drug safety update); just taut, so that the circle in view stays that of the pupil."""
    plan = planned(raw("long-vitrectomised-only-eye"))
    assert plan.measures is not None
    assert plan.measures.pupil_hooks == 4
    pupil = next(m for m in plan.margins if m.key == "pupil")
    assert pupil.has == pytest.approx(6.0)


def test_capsule_opening_decides_whether_an_optic_can_be_captured() -> None:
    """Capture behind an opening up to 5.5 mm (recalled, said as a doubt)."""
    wide = sentences(planned(raw("hard-poor-endothelium"), capsulorhexis_mm=6.2))
    tight = sentences(planned(raw("hard-poor-endothelium"), capsulorhexis_mm=5.2))
    assert [s for s in wide if "no capture of the optic" in s]
    assert [s for s in tight if "optic captured" in s]
    assert not [s for s in tight if "no capture" in s]


def test_what_was_not_asked_is_asked_and_never_taken_as_absent() -> None:
    plan = planned(
        changed(
            "brown-pseudoexfoliation",
            person__allergies=None,
            person__heart_disease=None,
            signs__glaucoma=None,
            eye__pressure_mmhg=None,
        )
    )
    assert "allergies" in firsts(plan)["not-recorded"]
    assert "heart disease" in firsts(plan)["not-recorded"]
    assert "measure pressure" in firsts(plan)["not-recorded"]
    assert "allergies not recorded" in step(plan, "time-out").do
    by_drug = {d.drug: d.caution for d in plan.doses}
    assert "allergies are not recorded" in by_drug["cefuroxime"]
    assert "heart disease" in by_drug["mannitol"].split("not recorded")[-1]
    assert "not-recorded" not in firsts(planned(raw("brown-pseudoexfoliation")))


@pytest.mark.parametrize("sign", ["signs__glaucoma", "signs__guttae", "signs__trauma"])
def test_an_anterior_chamber_lens_waits_for_what_is_not_known(sign: str) -> None:
    fit = {"biometry__chamber_depth_mm": 3.2, "biometry__endothelial_count_per_mm2": 2500}
    allowed = planned(changed("brown-pseudoexfoliation", **fit))
    assert next(p for p in allowed.lens.positions if p.position == "anterior-chamber").allowed
    unsure = planned(changed("brown-pseudoexfoliation", **fit, **{sign: None}))
    assert not next(p for p in unsure.lens.positions if p.position == "anterior-chamber").allowed


def test_a_first_visit_within_a_day_unless_it_is_known_that_two_will_do() -> None:
    """Within 24 h in an only eye or at risk of pressure, else within 48 h; what is not known is not taken as safe."""
    assert any(v.when.startswith("day 1 or 2") for v in planned(raw("trauma-gap")).after.visits)
    unsure = planned(changed("trauma-gap", eye__only_eye=None)).after.visits
    assert any(v.when == "day 1, within 24 hours" for v in unsure)
    assert not any(v.when.startswith("day 1 or 2") for v in unsure)


def test_a_seen_gap_raises_the_risk_that_is_said_before_consent() -> None:
    """The model's factor is pseudoexfoliation or phacodonesis, odds ratio above 1; a seen gap is at least as plain."""

    def risk(data: dict[str, Any]) -> float:
        return next(r.probability for r in planned(data).options[0].risks if r.name == "capsule-rupture")

    assert risk(raw("trauma-gap")) > 2 * risk(changed("trauma-gap", signs__dialysis_clock_hours=[]))


def test_beyond_a_plain_ring_the_bag_is_fixed_to_the_sclera() -> None:
    """Over 4 clock hours (academy teaching)."""
    assert "fixation" not in keys(planned(raw("trauma-gap")))
    assert "fixation" in keys(planned(changed("trauma-gap", signs__dialysis_clock_hours=[3, 4, 5, 6, 7])))


def test_pressure_drugs_follow_pressure_and_heart() -> None:
    high = planned(changed("white-swollen", person__heart_disease=False))
    assert {"timolol drops", "acetazolamide", "mannitol"} <= {d.drug for d in high.doses}
    heart = planned(raw("white-swollen"))
    assert not {"timolol drops", "mannitol", "adrenaline into the chamber"} & {d.drug for d in heart.doses}


@pytest.mark.parametrize("name", NAMES)
def test_steps_and_doses_agree(name: str) -> None:
    """A drug named in a step stands among the doses, and the other way round where it goes into the chamber."""
    plan = planned(raw(name))
    drugs = {d.drug for d in plan.doses}
    said = step(plan, "chamber").do + step(plan, "close").do
    assert ("Adrenaline" in said) == ("adrenaline into the chamber" in drugs)
    assert ("Lidocaine" in said) == ("lidocaine, preservative-free" in drugs)
    assert ("Carbachol" in said) == ("carbachol" in drugs)
    assert ("Moxifloxacin" in said) == ("moxifloxacin" in drugs)
    assert ("Cefuroxime" in said) == ("cefuroxime" in drugs)


def test_no_needle_where_none_may_go() -> None:
    plan = planned(
        changed("white-swollen", theatre__anaesthesia=["peribulbar"], person__anticoagulant="dual-antiplatelet")
    )
    assert plan.measures is not None
    assert plan.measures.anaesthetic is None
    assert "anaesthetic-missing" in firsts(plan)


@pytest.mark.parametrize("name", NAMES)
def test_no_alarm_and_no_praise(name: str) -> None:
    words = ("!", "danger", "beware", "critical", "excellent", "perfect", "safe ")
    assert not [s for s in sentences(planned(raw(name))) if any(w in s.lower() for w in words)]


@pytest.mark.parametrize(
    ("hour", "said"),
    [(12.0, "12"), (1.5, "1:30"), (10.75, "10:45"), (0.5, "12:30"), (2.999, "3"), (12.999, "1"), (11.999, "12")],
)
def test_a_clock_position_is_said_as_on_a_clock(hour: float, said: str) -> None:
    assert clock_text(hour) == said
