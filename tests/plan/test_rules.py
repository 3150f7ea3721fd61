"""The rule files: every rule reads, every source exists, every place of a sentence can be filled, stops stand in every plan."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forestay.evidence import default_evidence
from forestay.eye.filling import names_in
from forestay.plan.ruleset import FILES, Rule, ruleset
from tests.plan.cases import NAMES, changed, planned, raw
from tests.plan.sentences import sentences

EVIDENCE = default_evidence()
RULES = [(name, kind, rule) for name in FILES for kind, rules in ruleset(name).items() for rule in rules]
PREFIXES = ("person.", "eye.", "biometry.", "fellow.", "lens.", "signs.", "surgery.", "theatre.", "target.", "derived.")
OURS = ("estimate.", "measure.", "option.", "words.", "progress.", "checks.")


@pytest.mark.parametrize(("name", "kind", "rule"), RULES, ids=lambda v: v if isinstance(v, str) else "")
def test_every_source_of_a_rule_exists(name: str, kind: str, rule: Rule) -> None:
    for key in rule.sources:
        assert key in EVIDENCE.sources, (name, kind, rule.data.get("key"))
    if kind != "item":
        assert rule.sources, (name, kind, rule.data)


@pytest.mark.parametrize(("name", "kind", "rule"), RULES, ids=lambda v: v if isinstance(v, str) else "")
def test_every_name_in_a_rule_is_known_or_a_row(name: str, kind: str, rule: Rule) -> None:
    texts = [v for v in rule.data.values() if isinstance(v, str)]
    texts += [t for v in rule.data.values() if isinstance(v, list) for t in v]
    for text in texts:
        for found in names_in(text):
            assert found in EVIDENCE or found.startswith(PREFIXES + OURS), (name, kind, found)
    for part in (rule, *rule.inner):
        for line in part.when.lines:
            for comparison in line:
                if comparison.value and comparison.value.startswith("@"):
                    assert comparison.value[1:] in EVIDENCE, comparison
                assert comparison.name.startswith(PREFIXES + OURS), comparison


def test_no_number_stands_in_a_sentence_without_a_row() -> None:
    """Sentences of doses, steps and decisions take their sizes and amounts from rows; a few words of the trade aside."""
    for name in ("doses", "decision"):
        for rules in ruleset(name).values():
            for rule in rules:
                for key in ("preparation", "dose", "first"):
                    bare = _outside_braces(str(rule.data.get(key, "")))
                    for words in WORDS_OF_THE_TRADE:
                        bare = bare.replace(words, "")
                    assert not [c for c in bare if c.isdigit()], (name, rule.data.get("key"), bare)


WORDS_OF_THE_TRADE = ("1:1,000,000", "1:1,000", "10 mg/ml", "cells/mm2", "1 drop")
"""Names of dilutions and units, and what follows from the numbers beside it (50 mg in 5 ml is 10 mg/ml)."""


def _outside_braces(text: str) -> str:
    out, depth = [], 0
    for c in text:
        depth += (c == "{") - (c == "}")
        if depth == 0 and c != "}":
            out.append(c)
    return "".join(out)


@pytest.mark.parametrize(
    ("change", "stop", "gone"),
    [
        ({"person__allergies": ["sulfonamide"]}, "acetazolamide-sulfonamide", "acetazolamide"),
        ({"person__allergies": ["cephalosporin"]}, "cefuroxime-allergy", "cefuroxime"),
        ({"person__allergies": ["penicillin"]}, "cefuroxime-allergy", "cefuroxime"),
        ({"person__allergies": ["iodine"]}, "iodine", "povidone-iodine"),
        ({"person__kidney_disease": True}, "acetazolamide-kidney", "acetazolamide"),
        ({"person__liver_disease": True}, "acetazolamide-liver", "acetazolamide"),  # cirrhosis: UK label
    ],
)
def test_a_stop_takes_the_drug_out(change: dict[str, Any], stop: str, gone: str) -> None:
    """Contraindications as the labels and leaflets named by the stops give them."""
    name = "brown-pseudoexfoliation"
    assert gone in {d.drug for d in planned(raw(name)).doses}
    plan = planned(changed(name, **change))
    assert stop in {s.key for s in plan.stops}
    assert gone not in {d.drug for d in plan.doses}


@pytest.mark.parametrize("name", NAMES)
def test_stops_of_every_eye(name: str) -> None:
    keys = {s.key for s in planned(raw(name)).stops}
    assert {"one-piece-soft-lens-in-sulcus", "one-syringe"} <= keys


@pytest.mark.parametrize(
    ("name", "change", "stop"),
    [
        ("trauma-gap", {"eye__light_projection": "none"}, "surgery-without-light"),
        ("trauma-gap", {"lens__posterior_polar": True}, "hydrodissect-polar"),
        ("trauma-gap", {}, "cut-and-ring"),
        ("trauma-gap", {}, "haptics-across-gap"),
        ("long-vitrectomised-only-eye", {}, "needle-block"),
        ("long-vitrectomised-only-eye", {}, "stretch-floppy-iris"),
        ("hard-poor-endothelium", {}, "anterior-chamber-lens"),
        ("white-swollen", {}, "mannitol-heart-kidney"),
        ("white-swollen", {}, "phenylephrine-strong"),
        ("trauma-gap", {"signs__phacodonesis": "at-rest"}, "turn-loose-lens"),
        ("trauma-gap", {"signs__retinopathy": "proliferative"}, "stretch-vessels"),
        ("trauma-gap", {"person__allergies": ["latex"]}, "latex"),
        ("trauma-gap", {"person__allergies": ["moxifloxacin"]}, "moxifloxacin-allergy"),
        ("trauma-gap", {"biometry__posterior_segment_scan": "staphyloma"}, "needle-block"),
        ("trauma-gap", {}, "anterior-chamber-lens"),
        ("white-swollen", {}, "timolol-heart"),
        ("white-swollen", {}, "miotic-swollen"),
        ("white-swollen", {}, "adrenaline-heart"),
    ],
)
def test_stops_by_finding(name: str, change: dict[str, Any], stop: str) -> None:
    assert stop in {s.key for s in planned(changed(name, **change)).stops}


@pytest.mark.parametrize(
    ("name", "change", "verdict"),
    [
        (
            "trauma-gap",
            {"eye__visual_acuity_logmar": None, "eye__visual_acuity": "NPL", "eye__light_projection": "none"},
            "do-not-operate",
        ),
        ("trauma-gap", {"signs__external_infection": True}, "operate-later"),
        ("trauma-gap", {"eye__pressure_mmhg": 34}, "operate-later"),
        ("trauma-gap", {"biometry__posterior_segment_scan": "detachment"}, "refer"),
        ("trauma-gap", {"theatre__has": ["iris-hooks"]}, "refer"),
        ("trauma-gap", {"theatre__surgeon_grade": "junior-trainee"}, "refer"),
        ("trauma-gap", {"signs__dialysis_clock_hours": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]}, "refer"),
        ("long-vitrectomised-only-eye", {"theatre__surgeon_grade": "senior-trainee"}, "refer"),
        ("long-vitrectomised-only-eye", {"person__inr": 4.2}, "operate-later"),
        (
            "trauma-gap",
            {"theatre__has": ["vitrector", "tension-ring"], "signs__dialysis_clock_hours": [3, 4, 5, 6, 7]},
            "refer",
        ),
        ("white-swollen", {"eye__pressure_mmhg": 18, "person__lies_flat": False}, "operate-later"),
        ("trauma-gap", {}, "operate"),
    ],
)
def test_the_decision_comes_first(name: str, change: dict[str, Any], verdict: str) -> None:
    plan = planned(changed(name, **change))
    assert plan.decision.decision == verdict
    if verdict in ("refer", "do-not-operate"):
        assert plan.chosen.technique == "referral"


def test_no_light_means_no_steps_for_sight() -> None:
    plan = planned(changed("trauma-gap", eye__visual_acuity_logmar=None, eye__visual_acuity="NPL"))
    assert plan.steps == ()
    assert plan.doses == ()


@pytest.mark.parametrize(
    ("hours", "ring", "lens"),
    [([6], "none", "bag"), ([5, 6, 7], "after-nucleus", "bag"), ([4, 5, 6, 7], "after-nucleus", "bag")],
)
def test_extent_decides_ring_and_lens(hours: list[int], ring: str, lens: str) -> None:
    """Practice rules: Z1 (1 to 2 hours no ring), Z2 (up to 4 hours a plain ring), ring after the nucleus (Z3)."""
    plan = planned(changed("trauma-gap", signs__dialysis_clock_hours=hours))
    assert plan.measures is not None
    assert plan.measures.ring == ring
    assert plan.measures.lens_position == lens


def test_missing_kit_is_named_and_first() -> None:
    plan = planned(changed("brown-pseudoexfoliation", theatre__has=["iris-hooks", "vitrector", "dye"]))
    assert any("ring" in item for item in plan.kit["missing"])
    assert any(f.rule == "kit-missing" for f in plan.decision.first)


FIELDS = [(section, key) for section, table in raw("brown-pseudoexfoliation").items() for key in table]


@settings(deadline=None, derandomize=True, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(name=st.sampled_from(NAMES), drop=st.sets(st.sampled_from(FIELDS)))
def test_any_part_of_a_case_gives_a_plan(name: str, drop: set[tuple[str, str]]) -> None:
    data = raw(name)
    for section, key in drop - {("person", "age_years"), ("eye", "side")}:
        data.get(section, {}).pop(key, None)
    plan = planned(data, draws=50)
    assert plan.chosen.technique
    assert all("None" not in s and "nan" not in s.split() for s in sentences(plan))


LADDERS = (
    "pupil-small",
    "opening-small",
    "edge-runs-out",
    "rim-torn",
    "gap-grows",
    "bag-follows",
    "capsule-open",
    "vitreous",
    "nucleus-falls",
    "dark-shadow",
    "ring-escapes",
    "no-support",
)
"""The troubles for which a difficult eye has a ladder."""


def test_a_difficult_eye_has_every_ladder_with_its_rungs() -> None:
    plan = planned(raw("brown-pseudoexfoliation"))
    found = {f.key: f for f in plan.fallbacks}
    assert set(LADDERS) <= set(found)
    for ladder in found.values():
        assert len(ladder.rungs) == len(ladder.do) >= 2
        assert ladder.sources
        assert set(ladder.leads_to) <= {str(r.data["key"]) for r in ruleset("fallbacks")["fallback"]}


def test_a_rung_says_whether_this_theatre_has_what_it_needs() -> None:
    """The vitrector is what separates closed from open removal of vitreous; without one the rung says so."""
    with_it, without = (
        {f.key: f for f in planned(changed("trauma-gap", theatre__has=has, signs__dialysis_clock_hours=[6])).fallbacks}
        for has in (["vitrector", "three-piece-lens"], ["three-piece-lens", "tension-ring"])
    )
    for ladder, here in ((with_it, True), (without, False)):
        if not ladder:
            continue
        rung = next(r for r in ladder["vitreous"].rungs if r.needs == "vitrector")
        assert rung.here is here
    assert not any("none here" in line for line in with_it["vitreous"].do)
    unknown = {f.key: f for f in planned(changed("trauma-gap", theatre__has=None)).fallbacks}
    assert all(r.here is None for f in unknown.values() for r in f.rungs)


@pytest.mark.parametrize(
    ("name", "change", "conflict"),
    [
        ("trauma-gap", {"theatre__techniques": ["manual-small-incision"]}, "cut-and-ring-planned"),
        ("hard-poor-endothelium", {}, "cut-and-ring-open"),
        ("trauma-gap", {}, "one-piece-and-sulcus"),
        ("hard-poor-endothelium", {}, "low-count-and-anterior-chamber-lens"),
        ("white-swollen", {}, "hooks-and-tunnel"),
        ("trauma-gap", {}, "sulfonamide-and-acetazolamide"),
    ],
)
def test_conflicts_are_named_and_settled(name: str, change: dict[str, Any], conflict: str) -> None:
    found = {c.key: c for c in planned(changed(name, **change)).conflicts}
    assert conflict in found
    assert found[conflict].settled
    assert len(found[conflict].between) == 2


def test_the_first_step_names_what_the_supervisor_does() -> None:
    plan = planned(changed("hard-poor-endothelium", theatre__surgeon_grade="senior-trainee"))
    assert "supervisor" in plan.steps[0].do
    for step in plan.steps:
        assert (step.take_over is not None) <= (step.who == "trainee")
    assert any(step.take_over for step in plan.steps)
    assert all(s.take_over is None for s in planned(raw("hard-poor-endothelium")).steps)


@pytest.mark.parametrize(
    "technique", ["manual-small-incision", "phacoemulsification", "extracapsular", "intracapsular"]
)
def test_stabs_and_chamber_come_before_the_eye_is_opened(technique: str) -> None:
    """The order of the trade: ports, then OVD, then the opening; preplaced sutures before the section."""
    data = changed(
        "hard-poor-endothelium", theatre__techniques=[technique], signs__subluxated=technique == "intracapsular"
    )
    keys = [s.key for s in planned(data).steps]
    opening = {
        "manual-small-incision": "nucleus-out",
        "phacoemulsification": "main-incision",
        "extracapsular": "section-large",
        "intracapsular": "section-whole",
    }[technique]
    assert keys.index("ports") < keys.index("chamber") < keys.index(opening)
