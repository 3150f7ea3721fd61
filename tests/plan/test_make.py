"""The plan as a whole, on the invented demo cases: contract keys, mirror, seat, dependence, intervals, honesty."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from forestay.errors import RefusedFinding
from forestay.evidence import default_evidence
from forestay.frame import mirror_axis, mirror_by_hour, mirror_hour
from forestay.plan.context import Context
from forestay.plan.draws import Draws
from forestay.plan.make import make
from forestay.plan.model import Margin, Plan, as_dict
from tests.plan.cases import NAMES, changed, mirrored, planned, raw, situation
from tests.plan.sentences import sentences

CONTRACT_KEYS = (
    "decision",
    "eye",
    "checks",
    "estimates",
    "options",
    "chosen",
    "margins",
    "unassessed",
    "lens",
    "astigmatism",
    "steps",
    "kit",
    "doses",
    "fallbacks",
    "stops",
    "consent",
    "after",
    "doubts",
    "sources",
    "version",
)


@pytest.mark.parametrize("name", NAMES)
def test_every_key_of_the_contract_is_there_and_plain(name: str) -> None:
    plan = as_dict(planned(raw(name)))
    assert set(CONTRACT_KEYS) <= set(plan)
    json.dumps(plan, allow_nan=False)
    assert plan["decision"]["decision"] in ("operate", "operate-later", "refer", "do-not-operate")
    assert {"decision", "why", "first"} <= set(plan["decision"])
    assert {"technique", "clear"} <= set(plan["chosen"])
    assert any(o["technique"] == "referral" for o in plan["options"])
    assert sorted(o["rank"] for o in plan["options"]) == list(range(1, len(plan["options"]) + 1))
    for step in plan["steps"]:
        assert {"name", "do", "kit", "who", "cues"} <= set(step)
        assert all({"see", "means", "then"} <= set(c) for c in step["cues"])
    assert {"visits", "pressure_check", "warnings"} <= set(plan["after"])
    assert "missing" in plan["kit"]


@pytest.mark.parametrize("name", NAMES)
def test_margins_say_what_the_contract_asks(name: str) -> None:
    for margin in planned(raw(name)).margins:
        assert margin.low <= margin.margin <= margin.high or _skewed(margin)
        assert margin.margin == pytest.approx(margin.has - margin.needs)
        assert margin.rests_on
        if margin.scale == "comparative":
            assert margin.probability is None
        else:
            assert margin.probability is not None
            assert 0 <= margin.probability <= 1
        assert margin.origin.sources, margin.key


def _skewed(margin: Margin) -> bool:
    """Hooks placed with scatter never show a larger circle than placed exactly, so the centre may lie above."""
    return margin.key == "pupil" and margin.margin > margin.high


@pytest.mark.parametrize("name", NAMES)
def test_the_other_eye_mirrors_exactly(name: str) -> None:
    """The conventions of the eye: h -> 12 - h, axis -> 180 - axis, hand swapped; the same numbers, to the last bit."""
    data = raw(name)
    one, other = planned(data), planned(mirrored(data))
    for a, b in zip(one.margins, other.margins, strict=True):
        assert (a.needs, a.has, a.low, a.high, a.probability) == (b.needs, b.has, b.low, b.high, b.probability)
    assert [r.probability for o in one.options for r in o.risks] == [
        r.probability for o in other.options for r in o.risks
    ]
    assert one.astigmatism.after_d == other.astigmatism.after_d
    assert one.lens.positions[0].power_d == other.lens.positions[0].power_d
    assert one.drawing is not None
    assert other.drawing is not None
    assert one.drawing.zonule == mirror_by_hour(other.drawing.zonule)
    assert one.drawing.load == mirror_by_hour(other.drawing.load)
    assert one.measures is not None
    assert other.measures is not None
    assert one.measures.tunnel_clock == mirror_hour(other.measures.tunnel_clock)
    assert set(one.measures.hook_clocks) == {mirror_hour(h) for h in other.measures.hook_clocks}
    if one.astigmatism.after_axis_deg is not None and other.astigmatism.after_axis_deg is not None:
        assert one.astigmatism.after_axis_deg == mirror_axis(other.astigmatism.after_axis_deg)


@pytest.mark.parametrize("name", NAMES)
def test_the_seat_turns_drawings_only(name: str) -> None:
    here, there = planned(changed(name, theatre__seat="superior")), planned(changed(name, theatre__seat="temporal"))
    assert here.drawing is not None
    assert there.drawing is not None
    # beside the drawing the seat is named, and whether it is at the incision
    assert replace(here.drawing, seat="", seat_says="") == replace(there.drawing, seat="", seat_says="")
    one, other = as_dict(here), as_dict(there)
    for plan in (one, other):
        plan["drawing"] = plan["eye"] = None
    assert one == other


CHANGES: list[tuple[str, dict[str, Any], str]] = [
    ("brown-pseudoexfoliation", {"signs__phacodonesis": "none"}, "No turning"),
    ("brown-pseudoexfoliation", {"signs__pupil_dilated_mm": 7.8}, "iris hooks"),
    ("trauma-gap", {"signs__dialysis_clock_hours": [7, 8, 9]}, "4 to 6 o'clock"),
    ("trauma-gap", {"person__allergies": []}, "sulfonamide allergy"),
    ("white-swollen", {"eye__pressure_mmhg": 18}, "33 mmHg"),
    ("white-swollen", {"person__allergies": []}, "cephalosporin allergy"),
    ("white-swollen", {"lens__appearance": "nuclear"}, "the lens stays the cause"),
    ("white-swollen", {"lens__appearance": "nuclear"}, "under pressure"),
    ("hard-poor-endothelium", {"biometry__endothelial_count_per_mm2": 2500}, "1020 cells"),
    ("hard-poor-endothelium", {"signs__guttae": False}, "guttae"),
    ("long-vitrectomised-only-eye", {"signs__vitrectomy": False}, "vitrectomy"),
    ("long-vitrectomised-only-eye", {"eye__only_eye": False}, "only eye"),
    ("long-vitrectomised-only-eye", {"person__anticoagulant": "none"}, "warfarin"),
    ("long-vitrectomised-only-eye", {"biometry__axial_length_mm": 23.5}, "28.8"),
]


@pytest.mark.parametrize(("name", "change", "words"), CHANGES)
def test_a_changed_finding_changes_every_sentence_that_names_it(name: str, change: dict[str, Any], words: str) -> None:
    before = [s for s in sentences(planned(raw(name))) if words in s]
    assert before, f"no sentence of {name} speaks of {words}"
    after = sentences(planned(changed(name, **change)))
    left = [s for s in after if words in s and s in before and s not in ALWAYS]
    assert left == []


ALWAYS = {
    "The chamber differs from the fellow eye by 0.72 mm: look for a weak zonule or a swollen lens.",
    "closed vitrectomy, cut low, irrigate high",
    "if nearly free: accept it whole, support from behind, vitrectomy, other place for the lens",
    "triamcinolone; closed vitrectomy",
    "triamcinolone, vitrectomy first",
    "dry vitrectomy; triamcinolone check",
}
"""Sentences about what to do when vitreous comes, in any eye: they use the word, not the finding."""


@pytest.mark.parametrize("name", NAMES)
def test_intervals_narrow_when_what_they_rest_on_has_no_spread(name: str) -> None:
    """Each spread row set to zero narrows the margins that rest on it, and touches no other."""
    base = planned(raw(name), draws=1000)
    found = {m.key: m.high - m.low for m in base.margins}
    rests: dict[str, tuple[str, ...]] = {
        "size.rhexis_sd_mm": ("capsulorhexis",),
        "size.tissue_give_sd": ("tunnel",),
        "chamber.ovd_gain_sd_mm": ("chamber",),
        "spread.pupil_mm": ("pupil",),
        "endothelium.spread": ("cornea",),
        "lens_error.refraction_sd_d": ("refraction",),
    }
    for row, keys in rests.items():
        narrowed = make(situation(raw(name)), _without(row))
        widths = {m.key: m.high - m.low for m in narrowed.margins}
        for key in keys:
            if key in found and _rests(base, key, row):
                assert widths[key] < found[key], (row, key)
        for key, width in widths.items():
            if key not in keys and not (row == "size.rhexis_sd_mm" and key == "pupil"):
                assert width == found[key], (row, key)


def _rests(plan: Plan, key: str, row: str) -> bool:
    """Whether that margin rests on that spread in this plan: another technique uses another input."""
    measures = plan.measures
    assert measures is not None
    manual = measures.technique == "manual-small-incision"
    if row in ("chamber.ovd_gain_sd_mm", "size.tissue_give_sd"):
        return manual
    if row == "spread.pupil_mm":
        return measures.pupil_hooks == 0  # a taut edge between hooks does not depend on the pupil it was
    return key != "unknown"


def _without(row: str) -> Context:
    evidence = default_evidence()
    still = evidence.with_values({row: 0.0}) if evidence[row].sd is None else evidence.without_spread([row])
    return Context(still, Draws(1000))


def test_a_refused_value_is_not_planned_on() -> None:
    with pytest.raises(RefusedFinding) as refused:
        planned(changed("trauma-gap", biometry__k1_d=30.0, biometry__k2_d=59.0))
    assert refused.value.field == "biometry.k1_d"


@pytest.mark.parametrize("name", NAMES)
def test_only_side_and_age_are_compulsory(name: str) -> None:
    data = raw(name)
    bare = {"person": {"age_years": data["person"]["age_years"]}, "eye": {"side": data["eye"]["side"]}}
    plan = planned(bare)
    assert plan.chosen.technique
    assert {u.step for u in plan.unassessed}
    codes = {d.code for d in plan.doubts}
    assert {"kit-unknown", "hand-unknown", "techniques-unknown", "signs-not-recorded"} <= codes


def test_missing_input_widens_and_is_said() -> None:
    whole, less = planned(raw("trauma-gap")), planned(changed("trauma-gap", lens__grade=None))
    width = {m.key: m.high - m.low for m in whole.margins}
    known = next(e for e in whole.estimates if e.name == "nucleus-diameter")
    unknown = next(e for e in less.estimates if e.name == "nucleus-diameter")
    assert unknown.high - unknown.low > known.high - known.low
    assert any(d.code == "grade-unknown" for d in less.doubts)
    assert width


def test_what_was_settled_is_kept() -> None:
    plan = planned(
        raw("brown-pseudoexfoliation"), capsulorhexis_mm=5.4, pupil_hooks=4, ring="none", tunnel_chord_mm=6.8
    )
    assert plan.measures is not None
    assert plan.measures.capsulorhexis_mm == 5.4
    assert plan.measures.pupil_hooks == 4
    assert plan.measures.ring == "none"
    assert plan.measures.tunnel_outer_mm == 6.8


def test_a_larger_opening_widens_one_margin_and_narrows_the_other() -> None:
    small = {m.key: m.margin for m in planned(raw("hard-poor-endothelium"), capsulorhexis_mm=5.5).margins}
    large = {m.key: m.margin for m in planned(raw("hard-poor-endothelium"), capsulorhexis_mm=6.5).margins}
    assert large["capsulorhexis"] == pytest.approx(small["capsulorhexis"] + 1.0)
    assert large["pupil"] == pytest.approx(small["pupil"] - 1.0)


def test_a_short_pupil_warns_and_never_forbids() -> None:
    plan = planned(changed("brown-pseudoexfoliation", signs__pupil_dilated_mm=2.5))
    pupil = next(m for m in plan.margins if m.key == "pupil")
    assert pupil.margin < 0
    assert plan.decision.decision == "operate"


@pytest.mark.parametrize("name", NAMES)
def test_zonular_margins_are_comparative(name: str) -> None:
    plan = planned(raw(name))
    zonular = [m for m in plan.margins if m.group == "zonule"]
    assert zonular
    assert all(m.scale == "comparative" and m.probability is None for m in zonular)
    lens = next(m for m in plan.margins if m.key == "lens")
    assert lens.scale == "comparative"


def test_widening_does_what_it_says() -> None:
    """The change named under a rope, made, gives the gain that was promised."""
    for name in NAMES:
        before = planned(raw(name))
        for margin in before.margins:
            widen = margin.widen
            if widen is None or widen.control is None:
                continue
            after = planned(raw(name), **{widen.control: widen.value})
            now = next(m for m in after.margins if m.key == margin.key)
            assert now.margin - margin.margin == pytest.approx(widen.gain, abs=0.02), (name, margin.key)


@pytest.mark.parametrize("name", ["hard-poor-endothelium", "long-vitrectomised-only-eye"])
def test_a_ring_that_would_help_the_lens_to_hold_is_named(name: str) -> None:
    def hold(**decided: object) -> Margin:
        return next(m for m in planned(raw(name), **decided).margins if m.key == "lens")

    without, with_ring = hold(ring="none"), hold(ring="after-nucleus")
    assert with_ring.margin > without.margin
    assert without.widen is not None
    assert (without.widen.control, without.widen.value) == ("ring", "after-nucleus")
    assert without.widen.gain == pytest.approx(with_ring.margin - without.margin, abs=1e-9)
