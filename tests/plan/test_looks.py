"""Controls that are tried: reach of the hooks, opening of the ring, a gap. And the quick plan says what the whole says."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from forestay.errors import InvalidInput
from forestay.eye.situation import Decisions
from forestay.eye.validation import validate
from forestay.frame import mirror_hour
from forestay.plan.compare import compare
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.plan.model import Measures
from tests.plan.cases import NAMES, changed, mirrored, planned, raw, situation

BROWN, GAP = "brown-pseudoexfoliation", "trauma-gap"


def _measures(name: str, **decisions: Any) -> Measures:
    found = planned(raw(name), **decisions).measures
    assert found is not None
    return found


def test_the_reach_of_the_hooks_moves_the_pupil_alone_of_the_sizes() -> None:
    before, after = planned(raw(BROWN), pupil_hooks=4), planned(raw(BROWN), pupil_hooks=4, hook_reach_mm=4.0)
    assert after.measures is not None
    assert after.measures.hook_reach_mm == 4.0
    one, two = ({m.key: m.margin for m in p.margins} for p in (before, after))
    assert {k for k in one if one[k] != two[k]} == {"pupil"}
    assert two["pupil"] > one["pupil"]
    assert replace(after.measures, hook_reach_mm=None) == replace(before.measures, hook_reach_mm=None)  # type: ignore[type-var]


def test_farther_hooks_may_be_fewer() -> None:
    assert _measures(BROWN, hook_reach_mm=5.0).pupil_hooks <= _measures(BROWN).pupil_hooks


@pytest.mark.parametrize(
    "wrong", [{"hook_reach_mm": 0.1}, {"hook_reach_mm": 7.0}, {"ring_gap_clock": 13.0}, {"weak_hours": (13.0,)}]
)
def test_what_cannot_be_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(InvalidInput):
        validate(Decisions, wrong)


AFTER_RING = {"zonule-cortex-radial", "zonule-cortex-tangential", "zonule-lens-insertion"}
"""Margins of the steps that follow a ring."""


def test_the_opening_of_the_ring_moves_what_follows_the_ring_and_nothing_else() -> None:
    before, after = planned(raw(GAP)), planned(raw(GAP), ring_gap_clock=2.5)
    assert after.measures is not None
    assert after.measures.ring_gap_clock == 2.5
    moved = {one.key for one, two in zip(before.margins, after.margins, strict=True) if one.margin != two.margin}
    assert moved == AFTER_RING
    assert _measures(GAP, ring="none", ring_gap_clock=2.5).ring_gap_clock is None
    assert planned(raw(GAP), ring="none").ring_rest is None


def test_across_from_the_gap_the_fibres_rest_best_and_in_it_the_bag_lies_best() -> None:
    """Gap 4 to 6: the opening at 11 against one in the gap and one at either side. Centring with the opening in the gap is
    what the calculation ring-gap finds too."""
    rests = {hour: planned(raw(GAP), ring_gap_clock=hour).ring_rest for hour in (11.0, 5.0, 2.0, 8.0)}
    peaks = {h: r.peak for h, r in rests.items() if r is not None and r.peak is not None}
    centring = {h: r.off_centre for h, r in rests.items() if r is not None and r.off_centre is not None}
    assert min(peaks, key=peaks.__getitem__) == 11.0
    assert min(centring, key=centring.__getitem__) == 5.0


def test_a_line_says_what_another_opening_does_and_why() -> None:
    found = compare(planned(raw(GAP)), planned(raw(GAP), ring_gap_clock=5.0))
    assert found.line.startswith("Opening of the ring at 11 to 5 o'clock: ")
    assert "nearer the middle than before" in found.line
    assert "the zonule has more room at 1 of 3 steps, less at the others" in found.line
    assert {i.why for i in found.items} == {"opening of the ring at 11 to 5 o'clock"}


@pytest.mark.parametrize("hour", [11.0, 2.5])
def test_the_other_eye_gives_the_same_numbers_with_the_ring_mirrored(hour: float) -> None:
    one = planned(raw(GAP), ring_gap_clock=hour)
    other = planned(mirrored(raw(GAP)), ring_gap_clock=mirror_hour(hour))
    assert [(m.key, m.needs) for m in one.margins] == [(m.key, m.needs) for m in other.margins]
    a, b = one.ring_rest, other.ring_rest
    assert a is not None
    assert b is not None
    assert (a.off_centre, a.peak) == (b.off_centre, b.peak)
    assert a.towards_clock is not None
    assert b.towards_clock == mirror_hour(a.towards_clock)


def test_the_ring_opens_across_from_the_gap_unless_settled() -> None:
    assert _measures(GAP).ring_gap_clock == 11.0  # the gap of this case is 4 to 6: its middle is 5
    other = planned(mirrored(raw(GAP))).measures
    assert other is not None
    assert other.ring_gap_clock == mirror_hour(11.0)


def test_a_tried_gap_is_planned_on_like_one_that_was_seen() -> None:
    tried = planned(raw(GAP), weak_hours=(7.0, 8.0))
    seen = planned(changed(GAP, signs__dialysis_clock_hours=[7.0, 8.0]))
    assert replace(tried, decided={}) == seen
    none = planned(raw(GAP), weak_hours=())
    assert none.drawing is not None
    assert none.drawing.gaps == ()


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    "moved",
    [
        {},
        {"weak_hours": (5.0, 6.0)},
        {"tunnel_clock": 10.5},
        {"pupil_hooks": 5, "hook_reach_mm": 3.9},
        {"ring": "after-nucleus", "ring_gap_clock": 3.5},
    ],
    ids=str,
)
def test_the_quick_plan_gives_the_numbers_of_the_whole(name: str, moved: dict[str, Any]) -> None:
    here = situation(raw(name), **moved)
    whole = Context.default(draws=200)
    full, quick = make(here, whole), make(here, replace(whole, searching=False, looking=True))
    assert quick.measures == full.measures
    assert quick.drawing == full.drawing
    assert quick.ring_rest == full.ring_rest
    assert (quick.decision, quick.kit) == (full.decision, full.kit)
    assert quick.chosen.technique == full.chosen.technique  # argued when the hand rests
    # What a sign would make of the estimate, and what helps then, is tried out in the whole plan only.
    done, doing = ([replace(step, cues=()) for step in plan.steps] for plan in (full, quick))
    assert doing == done
    for one, other in zip(quick.margins, full.margins, strict=True):
        assert (one.key, one.needs, one.has, one.margin, one.says, one.widen) == (
            other.key, other.needs, other.has, other.margin, other.says, other.widen,
        )  # fmt: skip
        if one.scale == "absolute":
            assert (one.low, one.high, one.probability) == (other.low, other.high, other.probability)
