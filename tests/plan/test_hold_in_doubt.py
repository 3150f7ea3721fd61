"""A bag that little holds, lengths that do not fit, a lens that no shelf holds: said first, however it became known."""

from __future__ import annotations

from typing import Any

import pytest

from tests.plan.cases import changed, planned, raw
from tests.plan.test_sentences import keys

TRAUMA, BROWN = "trauma-gap", "brown-pseudoexfoliation"
SEVEN = {"signs__dialysis_clock_hours": [2, 3, 4, 5, 6, 7, 8]}
SEGMENT = [*raw(BROWN)["theatre"]["has"], "ring-segment"]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        (TRAUMA, SEVEN),
        (BROWN, {"signs__phacodonesis": "at-rest", "theatre__has": SEGMENT}),
        (
            BROWN,
            {
                "signs__subluxated": True,
                "theatre__techniques": ["phacoemulsification"],
                "theatre__has": SEGMENT,
                "theatre__retina_service": "in-house",
            },
        ),
    ],
    ids=["seen gap", "moves at rest", "subluxated"],
)
def test_a_bag_that_little_holds_is_said_first_and_fixed(name: str, change: dict[str, Any]) -> None:
    """Practice (management evidence, Z8): beyond 4 hours lost a plain ring does not do; 6 to 8 fix at two points or bag out."""
    plan = planned(changed(name, **change), draws=50)
    hours = next(e.value for e in plan.estimates if e.name == "zonule")
    assert hours < 6
    told = next(f.do for f in plan.decision.first if f.rule == "hold-short")
    assert f"about {hours:.1f} healthy clock hours" in told
    assert "hold of the lens" in plan.decision.sentence.split("More likely short than not: ")[1].split(".")[0]
    assert "fixation" in keys(plan)
    assert "turn-loose-lens" in {s.key for s in plan.stops}
    ready = next(i for i in plan.kit["items"] if i.item.startswith("ring segment"))
    assert ready.ready


def test_steps_that_ask_far_more_than_a_healthy_zonule_bears_are_named_first() -> None:
    plan = planned(changed(TRAUMA, **SEVEN), draws=50)
    asked = [m for m in plan.margins if m.group == "zonule" and m.margin <= -1.0]
    assert asked
    said = plan.decision.sentence.split("More than a healthy zonule bears: ")[1].split(".")[0]
    assert said == ", ".join(m.step.lower() for m in asked)
    assert "More than a healthy zonule bears" not in planned(raw(TRAUMA), draws=50).decision.sentence


def test_without_fixation_such_an_eye_is_referred_before_the_first_cut_and_a_choice_after_it() -> None:
    before = planned(changed(BROWN, signs__phacodonesis="at-rest"), draws=50).decision
    assert before.decision == "refer"
    assert {w.rule: w.then for w in before.would_change} == {"hold-short-missing": "operate"}
    found = {"surgery__puncture": "folds", "surgery__lens_travel_mm": 1.3, "surgery__bag_follows": True}
    within = planned(changed(BROWN, **found), draws=50).decision
    assert within.decision == "operate"
    assert within.sentence.startswith("Operate here: manual small incision. First stop and choose")


def test_enough_hours_ask_for_nothing_of_this() -> None:
    for name in (BROWN, TRAUMA):
        plan = planned(raw(name), draws=50)
        assert not [f for f in plan.decision.first if (f.rule or "").startswith("hold-short")]
        assert "hold of the lens" not in plan.decision.sentence
        assert "fixation" not in keys(plan)


def test_lengths_that_do_not_fit_hold_the_operation_back() -> None:
    """22.75 mm in the fellow eye: beyond 0.7 mm a second person measures (plausible.length_difference_recheck_mm)."""
    doubtful = planned(changed(BROWN, biometry__axial_length_mm=20.0), draws=50).decision
    assert doubtful.decision == "operate-later"
    assert {w.rule: w.then for w in doubtful.would_change} == {"lengths-in-doubt": "operate"}
    assert "power-unusual" not in {f.rule for f in doubtful.first}  # no lens is ordered by a length in doubt
    assert planned(changed(BROWN, biometry__axial_length_mm=22.3), draws=50).decision.decision == "operate"


@pytest.mark.parametrize(("length_mm", "said"), [(20.0, "+34.5 D"), (22.62, None)])
def test_a_power_beyond_an_ordinary_shelf_is_ordered_first(length_mm: float, said: str | None) -> None:
    change = {"biometry__axial_length_mm": length_mm, "fellow__axial_length_mm": length_mm}
    told = [f.do for f in planned(changed(BROWN, **change), draws=50).decision.first if f.rule == "power-unusual"]
    assert told == ([] if said is None else [f"order the lens ({said}): an ordinary shelf does not hold it"])


def test_a_captured_optic_is_ruled_out_where_the_opening_is_too_wide_for_it() -> None:
    """4 to 5.5 mm capture an optic of 6 mm (row size.capture_high_mm)."""
    for name, wide in ((BROWN, True), ("long-vitrectomised-only-eye", False)):
        plan = planned(raw(name), draws=50)
        assert plan.measures is not None
        assert plan.measures.capsulorhexis_mm is not None
        assert (plan.measures.capsulorhexis_mm > 5.5) is wide
        row = next(p for p in plan.lens.positions if p.position == "optic-capture")
        assert row.allowed is not wide
        assert ("captures no optic" in row.note) is wide


def test_hooks_round_a_zonule_weak_all_round_are_even_and_clear_of_other_stabs() -> None:
    """Four, the same to either side of the tunnel, none within half an hour (15 degrees) of an iris hook."""
    plan = planned(raw(BROWN), draws=50)
    m = plan.measures
    assert m is not None
    offsets = sorted((h - m.tunnel_clock) % 12 for h in m.capsule_hook_clocks)
    assert len(offsets) == 4
    assert offsets == sorted(12 - o for o in offsets)
    assert min(min((a - b) % 12, (b - a) % 12) for a in m.capsule_hook_clocks for b in m.hook_clocks) > 0.5
    planned_row = next(s for s in plan.supports if s.planned)
    assert planned_row.best  # nothing the search finds is better in every respect
