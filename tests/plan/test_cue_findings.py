"""Signs at a step: what they would change in the estimate, and what helps then, ranked by what it gains."""

from __future__ import annotations

import pytest

from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from forestay.mechanics import tunnel
from forestay.plan.compare import compare
from forestay.plan.cue_margins import CUE_MARGINS
from forestay.plan.model import Plan
from forestay.plan.model_steps import Cue
from forestay.plan.ruleset import ruleset
from forestay.plan.supports import wider_gap
from tests.plan.cases import NAMES, changed, planned, raw


def test_a_sign_says_how_far_the_estimate_would_move() -> None:
    plan = planned(raw("hard-poor-endothelium"))
    cue = next(c for s in plan.steps for c in s.cues if c.finding == "bag-follows")
    change = next(f for f in plan.finding_changes if f.key == "bag-follows")
    shift = cue.shifts[0]
    assert (shift.before, shift.after) == (change.hours_before, change.hours_after)
    assert shift.says in cue.means
    assert cue.means.startswith(cue.plain[0])


def test_what_the_sign_moves_is_what_the_case_with_the_finding_says() -> None:
    """The same eye with the finding written into its case file, planned anew."""
    plan = planned(raw("hard-poor-endothelium"))
    cue = next(c for s in plan.steps for c in s.cues if c.finding == "iris-lens-gap")
    after = planned(changed("hard-poor-endothelium", signs__iris_lens_gap=True))
    hours = next(e.value for e in after.estimates if e.unit.startswith("of 12"))
    assert cue.shifts[0].after == pytest.approx(hours, abs=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_what_helps_is_ranked_and_can_be_had_here(name: str) -> None:
    plan, case = planned(raw(name)), validate(CaseFile, raw(name))
    for cue in (c for s in plan.steps for c in s.cues):
        gains = [r.gain for r in cue.remedies]
        assert gains == sorted(gains, reverse=True)
        assert all(g > 0 for g in gains)
        assert (cue.judged_by is None) == (not gains)
        for remedy in cue.remedies:
            assert remedy.says in cue.then
            if cue.finding:
                assert "capsule-hooks" in (case.theatre.has or ())
            assert remedy.here is not False or "hooks" in remedy.do or "lens" in remedy.do or "ring" in remedy.do


def test_without_capsule_hooks_none_are_tried() -> None:
    plan = planned(changed("hard-poor-endothelium", theatre__has=["vitrector", "dye"]))
    assert all(c.remedies == () for s in plan.steps for c in s.cues if c.finding)
    assert any(c.shifts for s in plan.steps for c in s.cues)


def test_a_look_that_leaves_the_findings_out_reads_the_same() -> None:
    plan = planned(raw("hard-poor-endothelium"))
    assert compare(plan, plan).items == ()


def test_every_finding_of_a_rule_is_one_that_is_worked_out() -> None:
    named = {c.data["finding"] for s in ruleset("steps")["step"] for c in s.inner if "finding" in c.data}
    known = {f.key for name in NAMES for f in planned(raw(name)).finding_changes}
    assert named <= known
    assert len(named) >= 5


def by_margin(plan: Plan, name: str) -> list[Cue]:
    return [c for s in plan.steps for c in s.cues if c.margin == name]


def test_every_margin_of_a_cue_is_one_that_measures_are_tried_for() -> None:
    named = {c.data["margin"] for s in ruleset("steps")["step"] for c in s.inner if "margin" in c.data}
    assert named == set(CUE_MARGINS)


def test_a_nucleus_that_sticks_is_judged_by_the_tunnels_margin() -> None:
    plan = planned(raw("brown-pseudoexfoliation"))
    (cue,) = by_margin(plan, "tunnel")
    margin = next(m for m in plan.margins if m.key == "tunnel")
    (shift,) = cue.shifts
    assert shift.before == pytest.approx(margin.margin)
    assert shift.after < shift.before  # a larger nucleus
    gains = {r.do: r.gain for r in cue.remedies}
    halves = next(gain for do, gain in gains.items() if "halves" in do)
    # half the girth of an ellipse is what a lip must have (docs of mechanics.tunnel): halved across, much less of it
    sizes = {e.name: e.value for e in plan.estimates}
    whole, half = (
        float(
            tunnel.needed_lip_mm(
                nucleus_diameter_mm=d,
                nucleus_thickness_mm=sizes["nucleus-thickness"],
                instrument_thickness_mm=0.4,
                tissue_give=1.0,
            )
        )
        for d in (sizes["nucleus-diameter"], sizes["nucleus-diameter"] / 2)
    )
    assert halves > whole - half - 0.2  # the larger nucleus of the finding gains at least as much
    assert cue.remedies[0].do == next(iter(gains))


def test_a_pupil_that_comes_down_is_met_by_hooks_before_a_smaller_opening() -> None:
    plan = planned(raw("trauma-gap"))
    cue = by_margin(plan, "pupil")[0]
    margin = next(m for m in plan.margins if m.key == "pupil")
    assert cue.shifts[0].before == pytest.approx(margin.margin)
    # at a pupil of 4 mm: 4 less an opening of 5.2 and a clearance of 0.5 to 0.6 mm
    assert cue.shifts[0].after == pytest.approx(margin.margin - (6.4 - 4.0), abs=1e-9)
    assert [r.do.endswith("hooks") for r in cue.remedies] == [True, True, False]
    assert plan.measures is not None
    assert plan.measures.capsulorhexis_mm is not None
    # the last: a smaller opening gains just what it is smaller
    smaller = float(cue.remedies[-1].do.split()[3])
    assert cue.remedies[-1].gain == pytest.approx(plan.measures.capsulorhexis_mm - smaller)


def test_a_gap_larger_than_planned_is_judged_with_the_larger_gap() -> None:
    """Once the nucleus is out: the reserve with the gap of 4 to 6 o'clock reaching from 3 to 7, nothing else changed."""
    full = planned(raw("trauma-gap"))
    cues = by_margin(full, "zonule")
    assert {c.see for c in cues} >= {"the gap is larger than planned", "the bag moves with each pull"}
    for cue in cues:
        assert cue.judged_by is not None
        assert "two clock hours wider" in cue.judged_by
        # five clock hours without fibres, the others weak: the model lets go of the bag unless something is put in
        assert "the bag is not held without support" in cue.means
        assert cue.shifts == ()
        assert cue.remedies
        assert not any("before the nucleus" in r.do for r in cue.remedies)
    (quiet,) = {c.shifts for c in by_margin(planned(raw("hard-poor-endothelium")), "zonule")}
    assert quiet[0].after < quiet[0].before
    # a wider gap asks more of every support than the estimated one does (the bag model alone, from 3 to 7 lost)
    narrow, wide = ((1.0,) * 4 + (0.0,) * 3 + (1.0,) * 5, (1.0,) * 3 + (0.0,) * 5 + (1.0,) * 4)
    assert wider_gap(narrow, 12.0) == wide


def test_a_touched_cornea_is_judged_with_a_larger_nucleus() -> None:
    plan = planned(raw("hard-poor-endothelium"))
    (cue,) = by_margin(plan, "chamber")
    margin = next(m for m in plan.margins if m.key == "chamber")
    (shift,) = cue.shifts
    rows = {e.name: e.value for e in plan.estimates}
    # it comes forward flat, since on its edge it has no room: what is judged is the room less its thickness
    assert margin.margin < 0
    assert shift.before == pytest.approx(rows["room"] - rows["nucleus-thickness"])
    assert shift.after < shift.before


def test_a_lens_that_sinks_loses_two_healthy_hours_of_its_hold() -> None:
    plan = planned(raw("hard-poor-endothelium"))
    (cue,) = by_margin(plan, "lens")
    margin = next(m for m in plan.margins if m.key == "lens")
    (shift,) = cue.shifts
    assert shift.before == pytest.approx(margin.margin, abs=1e-6)
    assert 0 < shift.before - shift.after <= 2
