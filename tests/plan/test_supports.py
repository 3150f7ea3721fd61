"""Supports of a weak zonule in the plan: searched where needed, with what the theatre has, in the eye's own hours."""

from __future__ import annotations

from dataclasses import replace

from forestay.frame import hour_distance, mirror_hour
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


def test_a_ring_is_ranked_with_its_ends_where_the_plan_has_them() -> None:
    """Across from the gap at 4 to 6 o'clock; elsewhere when it is moved there."""
    plan = planned(raw("trauma-gap"))
    assert plan.measures is not None
    ends = {s.kind: s.ring_gap_clock for s in plan.supports}
    assert ends["ring-and-hooks"] == plan.measures.ring_gap_clock == 11
    assert ends["segment"] is ends["hooks"] is None
    assert any("its opening at 11" in s.label for s in plan.supports)
    moved = planned(raw("trauma-gap"), ring_gap_clock=2.0)
    assert {s.ring_gap_clock for s in moved.supports if s.kind == "ring-and-hooks"} == {2.0}


def test_what_is_planned_stands_in_its_own_ranking() -> None:
    """Wherever it stands, once, with the places and the moment of the plan."""
    for plan in (
        planned(raw("brown-pseudoexfoliation")),
        planned(raw("trauma-gap")),
        planned(raw("trauma-gap"), ring="before-nucleus"),
        planned(raw("brown-pseudoexfoliation"), ring="none"),
    ):
        (own,) = [s for s in plan.supports if s.planned]
        assert plan.measures is not None
        assert own.hooks == plan.measures.capsule_hook_clocks
        assert own.ring_gap_clock == plan.measures.ring_gap_clock
        assert own.ring_timing == {"none": "not", "before-nucleus": "now"}.get(plan.measures.ring, "later")
        assert own.worst_step or not own.held


def test_the_worst_step_says_which_way_it_pulls_in_the_eyes_own_hours() -> None:
    """In the direction of the table of manoeuvres: a lens is placed away from the tunnel, cortex stripped along the rim."""
    right, left = planned(raw("trauma-gap")), planned(mirrored(raw("trauma-gap")))
    assert right.measures is not None
    assert right.measures.tunnel_clock == 12
    told = {s.worst_step for plan in (right, left) for s in plan.supports}
    assert "lens in, from 12 to 6" in told
    weak = planned(raw("brown-pseudoexfoliation"))
    assert "cortex, along the rim at 6" in {s.worst_step for s in weak.supports}


def test_the_plan_lists_hooks_where_its_tunnel_and_its_iris_hooks_leave_room() -> None:
    """The nucleus passes within two hours of the tunnel; two stabs stand half an hour apart (1 mm and a clearance)."""
    plan = planned(raw("brown-pseudoexfoliation"))
    assert plan.measures is not None
    listed = [s for s in plan.supports if s.hooks]
    assert listed
    for row in listed:
        assert all(hour_distance(h, plan.measures.tunnel_clock) >= 2 for h in row.hooks)
        assert all(hour_distance(h, i) >= 0.49 for h in row.hooks for i in plan.measures.hook_clocks)


def test_at_a_gap_a_segment_leads_and_a_tied_ring_comes_before_the_plain_one() -> None:
    """A closed ring pushes alike all round and led both; an open one pushes at its ends, and its suture is drawn."""
    weak, gap = planned(raw("brown-pseudoexfoliation")), planned(raw("trauma-gap"))
    ranks = {s.kind: s.rank for s in reversed(gap.supports)}
    assert gap.supports[0].kind == "segment"
    assert ranks["sutured-ring"] < ranks.get("ring", len(gap.supports) + 1)
    label = next(s.label for s in gap.supports if s.kind == "sutured-ring")
    assert "its eyelet at 5, its opening at 11" in label
    assert next(s.rank for s in weak.supports if s.kind == "hooks") < len(weak.supports)
    assert "ring" not in {s.kind for s in weak.supports}  # six and what is planned are listed


def test_the_search_can_be_left_out_while_a_control_moves() -> None:
    still = replace(Context.default(draws=100), searching=False)
    assert make(situation(raw("trauma-gap")), still).supports == ()
