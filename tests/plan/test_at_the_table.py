"""What a surgeon would object to at the table: hooks that gain nothing, drugs that a stop forbids, an order that cannot be.

Each case is an eye in which the sentence once was wrong. Geometry is checked against figures worked out by hand beside
it; places of haptics and hours of support against the practice rules that the rule files name.
"""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from forestay.plan.model import Fallback, Plan
from forestay.plan.rulecheck import faults
from tests.plan.cases import NAMES, changed, planned, raw
from tests.plan.sentences import sentences
from tests.plan.test_rulecheck import table
from tests.plan.test_sentences import keys, step

BROWN, WHITE, TRAUMA, HARD = "brown-pseudoexfoliation", "white-swollen", "trauma-gap", "hard-poor-endothelium"
LONG = "long-vitrectomised-only-eye"


def ladder(plan: Plan, key: str) -> Fallback:
    """The ladder of that key."""
    return next(f for f in plan.fallbacks if f.key == key)


def cues(plan: Plan) -> list[str]:
    """What to do at every cue."""
    return [c.then for s in plan.steps for c in s.cues]


@pytest.mark.parametrize(
    ("pupil_mm", "appearance", "hooks"),
    [
        (
            5.6,
            "intumescent",
            5,
        ),  # 5 hooks at 3.5 mm: 2 x 3.5 x cos 37.5 deg = 5.6 mm, no gain; at 4.0 mm 6.3 mm, 0.7 mm more
        (6.2, "white", 0),  # 6.3 mm at the most: not worth five stabs
    ],
)
def test_hooks_are_placed_only_where_they_show_more(pupil_mm: float, appearance: str, hooks: int) -> None:
    """Five hooks, an hour and a quarter to either side of the widest gap: what they show is 2 reach cos(37.5 deg)."""
    plan = planned(changed(WHITE, signs__pupil_dilated_mm=pupil_mm, lens__appearance=appearance))
    m = plan.measures
    assert m is not None
    assert m.pupil_hooks == hooks
    assert m.hook_reach_mm == (None if hooks == 0 else pytest.approx(4.0))
    shown = next(x.has for x in plan.margins if x.key == "pupil")
    assert shown == pytest.approx(pupil_mm if hooks == 0 else 2 * 4.0 * math.cos(math.radians(37.5)), abs=0.01)
    assert shown >= pupil_mm


@pytest.mark.parametrize("change", [{}, {"theatre__has": ["vitrector"]}])
def test_an_opening_under_pressure_stays_inside_what_is_seen(change: dict[str, Any]) -> None:
    """A swollen lens is opened in two stages in sight (two-stage teaching); its edge never runs under the iris."""
    plan = planned(changed(WHITE, **change))
    pupil = next(m for m in plan.margins if m.key == "pupil")
    assert plan.measures is not None
    assert plan.measures.capsulorhexis_mm is not None
    assert plan.measures.capsulorhexis_mm <= max(pupil.has - 0.5, 5.0) + 1e-9  # the clearance; the smallest opening
    said = [s for s in sentences(plan) if "under the iris only" in s or "move the iris aside" in s]
    assert said == []
    assert any("inside what is seen" in rung for rung in ladder(plan, "pupil-small").do)
    assert "inside the view" in step(plan, "capsulorhexis").do
    assert any("under the iris only" in rung for rung in ladder(planned(raw(BROWN)), "pupil-small").do)


def test_no_adrenaline_bolus_is_asked_for_where_the_heart_forbids_it() -> None:
    for name in (WHITE, BROWN):
        plan = planned(changed(name, person__heart_disease=True))
        asked = [*cues(plan), *(s.do for s in plan.steps), *(r for f in plan.fallbacks for r in f.do)]
        asked += [f"{d.drug} {d.dose}" for d in plan.doses]
        named = [s for s in asked if "drenaline" in s]
        assert named
        assert all("irrigation" in s or "No adrenaline bolus" in s for s in named), named


def test_a_bare_word_for_a_barred_drug_is_found_and_a_spared_one_is_not() -> None:
    """``adrenaline`` alone may be the bolus; in the irrigation it may stay."""
    text = """
[[fallback]]
key = "x"
event = "x"
signs = "x"
sources = ["surgical-sequence"]
[[fallback.rung]]
do = "{do}"
"""
    bare = faults(table(fallbacks=text.format(do="cohesive OVD, adrenaline")))
    assert any("adrenaline-heart" in f.what for f in bare)
    assert not faults(table(fallbacks=text.format(do="cohesive OVD, adrenaline in the irrigation")))


@pytest.mark.parametrize("name", NAMES)
def test_a_drug_named_by_a_ladder_has_its_dose(name: str) -> None:
    plan = planned(raw(name))
    drugs = " ".join(f"{d.drug} {d.dose} {d.preparation}" for d in plan.doses)
    rungs = " ".join(r for f in plan.fallbacks for r in f.do) + " ".join(cues(plan))
    for drug in ("adrenaline", "triamcinolone"):
        if drug in rungs and f"no {drug}" not in rungs:
            assert drug in drugs, drug
    assert "carbachol 0.01 %, 0.5 ml" in rungs
    assert any("0.2 ml" in d.dose for d in plan.doses if d.drug == "triamcinolone")


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        (HARD, {}, "on sound quadrants (8 healthy hours)"),
        (TRAUMA, {}, "only sutured ("),
        (TRAUMA, {"signs__dialysis_clock_hours": [3, 4, 5, 6, 7, 8]}, "no lens in the sulcus"),
        (WHITE, {"theatre__has": ["vitrector"]}, "no three-piece lens is here"),
    ],
)
def test_the_sulcus_is_offered_by_the_hours_that_are_left(name: str, change: dict[str, Any], said: str) -> None:
    """Practice: 8 to 9 hours hold a lens in the sulcus, 6 to 8 a sutured one, fewer none."""
    plan = planned(changed(name, **change))
    for key in ("no-support", "rim-torn", "capsule-open"):
        assert any(said in rung for rung in ladder(plan, key).do), key


@pytest.mark.parametrize(
    ("hours", "said"), [([4, 5, 6], "along the weak axis: one presses the bag outward"), ([6], "not across")]
)
def test_haptics_lie_along_the_gap_in_a_bag_that_a_ring_holds(hours: list[int], said: str) -> None:
    plan = planned(changed(TRAUMA, signs__dialysis_clock_hours=hours))
    assert said in step(plan, "lens").do
    assert "sulcus haptic" in next(s.must_not for s in plan.stops if s.key == "haptics-across-gap")


@pytest.mark.parametrize("name", [WHITE, LONG])
def test_nothing_is_asked_for_that_the_theatre_does_not_have(name: str) -> None:
    plan, has = planned(raw(name)), raw(name)["theatre"]["has"]
    for word, item in (("capsule hooks", "capsule-hooks"), ("ring", "tension-ring")):
        if item in has:
            continue
        rules = [t.split("; worked out")[0] for t in cues(plan)]
        asked = [t for t in rules if re.search(rf"\b{word}\b", t) and "fixation" not in t]
        assert asked
        assert all("here" in t for t in asked), asked
    assert all(r.here is not False for s in plan.steps for c in s.cues for r in c.remedies)


@pytest.mark.parametrize("name", [BROWN, WHITE])
def test_the_pupil_is_open_before_the_capsule_is_stained_and_after_the_nucleus(name: str) -> None:
    plan = planned(raw(name))
    order = keys(plan)
    assert order.index("pupil") < order.index("dye") < order.index("puncture")
    assert "wash; OVD again" in step(plan, "dye").do
    taken = step(plan, "release-hooks").do.split("iris hooks at the tunnel (")[1].split(")")[0]
    assert step(plan, "inspect").do.startswith(f"Iris hooks at {taken} back in, all taut.")


def test_the_opening_is_checked_and_widened_before_hooks_hold_its_edge() -> None:
    order = keys(planned(raw(BROWN)))
    assert order.index("capsulorhexis") < order.index("rim") < order.index("capsule-hooks")


def test_what_a_flat_nucleus_lacks_in_room_is_said_and_flat_is_not_tried_again() -> None:
    """A thickness of 3.5 mm in 2.9 mm of room is short by 0.7 mm (3.53 - 2.86)."""
    plan = planned(raw(BROWN))
    said = step(plan, "nucleus-up").do
    rows = {e.name: e.value for e in plan.estimates}
    short = rows["nucleus-thickness"] - rows["room"]
    assert f"short by {short:.1f} mm" in said
    assert said.startswith("Iris hooks half slack first.")
    cue = next(c for c in step(plan, "nucleus-up").cues if c.margin == "chamber")
    assert cue.shifts[0].before == pytest.approx(-short, abs=1e-6)
    assert not [r for r in cue.remedies if "flat" in r.do]
    assert "short by" not in step(planned(raw(HARD)), "nucleus-up").do  # 3.3 mm flat, 3.4 mm are there


def test_no_relaxing_cut_stands_in_a_ladder_beside_a_planned_ring() -> None:
    """A ring behind a cut rim drives the cut on (late ring, 2014)."""
    with_ring, without = (ladder(planned(raw(name)), "opening-small").do for name in (BROWN, HARD))
    assert not any("relaxing cut" in rung for rung in with_ring)
    assert any("relaxing cut" in rung for rung in without)


@pytest.mark.parametrize(
    ("name", "things"),
    [
        (TRAUMA, ("ring segment", "tension ring", "capsule hooks")),
        (HARD, ("tension ring", "capsule hooks")),
        (LONG, ("tension ring",)),
    ],
)
def test_what_a_ladder_may_ask_for_lies_ready(name: str, things: tuple[str, ...]) -> None:
    plan = planned(raw(name))
    ready = " | ".join(i.item for i in plan.kit["items"])
    assert [t for t in things if t not in ready] == []
    assert not plan.kit["missing"]


def test_group_mates_of_a_barred_drug_are_barred_and_nothing_left_is_said_first() -> None:
    """Ceftazidime is a cephalosporin; drops of the carbonic anhydrase kind are sulfonamides (their labels)."""
    allergic = ["sulfonamide", "cephalosporin", "moxifloxacin"]
    plan = planned(changed(WHITE, person__allergies=allergic))
    assert {"ceftazidime-allergy", "sulfonamide-drops"} <= {s.key for s in plan.stops}
    assert any("amikacin 0.4 mg" in s.why for s in plan.stops)
    assert not [d for d in plan.doses if d.purpose == "pressure, now"]
    assert {"pressure-no-drug", "antibiotic-none"} <= {f.rule for f in plan.decision.first}
    assert "pressure-no-drug" not in {f.rule for f in planned(raw(WHITE)).decision.first}


def test_a_whole_lens_passes_the_pupil_and_vitreous_is_looked_for() -> None:
    eye = changed(BROWN, signs__subluxated=True, signs__phacodonesis="at-rest", theatre__techniques=["intracapsular"])
    plan = planned(eye)
    order = keys(plan)
    assert order.index("pupil-whole") < order.index("section-whole")
    assert order.index("whole-lens") < order.index("vitreous-check") < order.index("lens")
    assert plan.measures is not None
    if plan.measures.lens_position == "aphakia":
        assert not step(plan, "lens").cues
        assert all("centred" not in d.caution for d in plan.doses)


def test_a_minus_is_said_in_words() -> None:
    """Signs are among the causes of wrong lenses: positive and negative powers are told apart in words."""
    plan = planned(changed(LONG, biometry__axial_length_mm=33.0))
    said = step(plan, "time-out").do
    assert "lens minus " in said
    assert "lens -" not in said
