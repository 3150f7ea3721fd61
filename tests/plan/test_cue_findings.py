"""Signs at a step: what they would change in the estimate, and what helps then, ranked by what it gains."""

from __future__ import annotations

import pytest

from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from forestay.plan.compare import compare
from forestay.plan.ruleset import ruleset
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
            assert "capsule-hooks" in (case.theatre.has or ())


def test_without_capsule_hooks_none_are_tried() -> None:
    plan = planned(changed("hard-poor-endothelium", theatre__has=["vitrector", "dye"]))
    assert all(c.remedies == () for s in plan.steps for c in s.cues)
    assert any(c.shifts for s in plan.steps for c in s.cues)


def test_a_look_that_leaves_the_findings_out_reads_the_same() -> None:
    plan = planned(raw("hard-poor-endothelium"))
    assert compare(plan, plan).items == ()


def test_every_finding_of_a_rule_is_one_that_is_worked_out() -> None:
    named = {c.data["finding"] for s in ruleset("steps")["step"] for c in s.inner if "finding" in c.data}
    known = {f.key for name in NAMES for f in planned(raw(name)).finding_changes}
    assert named <= known
    assert len(named) >= 5
