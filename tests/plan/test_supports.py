"""Supports of a weak zonule in the plan: searched where needed, with what the theatre has, in the eye's own hours."""

from __future__ import annotations

from dataclasses import replace

from forestay.frame import mirror_hour
from forestay.plan.context import Context
from forestay.plan.make import make
from tests.plan.cases import changed, mirrored, planned, raw, situation


def test_a_weak_zonule_gets_a_ranked_list_and_a_sound_one_none() -> None:
    weak = planned(raw("brown-pseudoexfoliation"))
    assert [s.rank for s in weak.supports] == list(range(1, len(weak.supports) + 1))
    assert weak.supports
    assert planned(raw("hard-poor-endothelium")).supports == ()


def test_a_ring_waits_for_a_whole_nucleus_that_comes_out_by_hand() -> None:
    plan = planned(raw("brown-pseudoexfoliation"))
    rings = [s for s in plan.supports if "ring" in s.kind]
    assert rings
    assert all(s.ring_timing == "later" for s in rings if s.held)


def test_only_what_the_theatre_has_is_listed() -> None:
    plan = planned(changed("brown-pseudoexfoliation", theatre__has=["iris-hooks", "capsule-hooks", "vitrector", "dye"]))
    assert {s.kind for s in plan.supports} <= {"none", "hooks"}


def test_hours_are_those_of_the_eye() -> None:
    right, left = planned(raw("trauma-gap")), planned(mirrored(raw("trauma-gap")))
    for one, other in zip(right.supports, left.supports, strict=True):
        assert {mirror_hour(h) for h in one.hooks} == set(other.hooks)
        assert (one.reserve, one.peak_load, one.off_centre) == (other.reserve, other.peak_load, other.off_centre)


def test_the_search_can_be_left_out_while_a_control_moves() -> None:
    still = replace(Context.default(draws=100), searching=False)
    assert make(situation(raw("trauma-gap")), still).supports == ()
