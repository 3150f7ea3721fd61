"""What changed and why, on the invented cases: the sentence says what the two plans say, and nothing else."""

from __future__ import annotations

import re
from typing import Any

import pytest

from forestay.frame import mirror_hour
from forestay.plan.compare import Changes, Weight, compare
from tests.plan.cases import NAMES, changed, mirrored, planned, planned_anew, raw, situation

BROWN, GAP = "brown-pseudoexfoliation", "trauma-gap"


def _changes(name: str, **decisions: Any) -> Changes:
    return compare(planned(raw(name)), planned(raw(name), **decisions))


@pytest.mark.parametrize("name", NAMES)
def test_nothing_moved_says_nothing(name: str) -> None:
    assert compare(planned(raw(name)), planned_anew(situation(raw(name)))) == Changes("", (), ())


def test_a_larger_opening_says_what_it_gives_and_what_it_takes() -> None:
    before = planned(raw(BROWN))
    assert before.measures is not None
    size = before.measures.capsulorhexis_mm or 0.0
    after = planned(raw(BROWN), capsulorhexis_mm=size - 0.6)
    found = compare(before, after)
    head, _, rest = found.line.partition(": ")
    assert head == f"Opening {size:g} to {size - 0.6:g} mm"
    # The capsulorhexis is wanted larger by the nucleus and smaller by the pupil, by as much as it moved.
    assert re.search(r"the nucleus 0\.6 mm less|the nucleus is now short", rest)
    assert "the pupil has 0.6 mm more" in rest or "the pupil now has" in rest
    assert rest.endswith("ring after the nucleus stays.")
    assert {i.why for i in found.items if i.key in ("pupil", "capsulorhexis")} == {
        f"opening {size:g} to {size - 0.6:g} mm"
    }


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    "moved",
    [{"capsulorhexis_mm": 7.0}, {"tunnel_clock": 10.0}, {"ring": "none"}, {"weak_hours": (6.0, 7.0, 8.0)}],
    ids=str,
)
def test_every_margin_that_moved_is_listed_with_its_direction(name: str, moved: dict[str, Any]) -> None:
    before, after = planned(raw(name)), planned(raw(name), **moved)
    found = compare(before, after)
    was = {m.key: m for m in before.margins}
    listed = {i.key: i for i in found.items if i.by is not None}
    for margin in after.margins:
        if margin.key not in was:
            continue
        by = margin.margin - was[margin.key].margin
        assert (margin.key in listed) == (abs(by) >= 5e-4)
        if margin.key in listed:
            item = listed[margin.key]
            assert item.by == pytest.approx(by)
            turned = (margin.margin < 0) != (was[margin.key].margin < 0)
            assert (item.weight == Weight.TURNED) == turned
            if not turned:
                assert ("less" in item.words) == (by < 0)
            assert item.why


@pytest.mark.parametrize("name", NAMES)
def test_sign_changes_come_first(name: str) -> None:
    weights = [i.weight for i in _changes(name, weak_hours=(5.0, 6.0, 7.0, 8.0), capsulorhexis_mm=7.5).items]
    assert weights == sorted(weights)


def test_a_finding_says_itself_and_what_follows() -> None:
    before = planned(raw(BROWN))
    after = planned(changed(BROWN, signs__dialysis_clock_hours=[6, 7, 8]))
    found = compare(before, after)
    assert found.causes == ("gap 6 to 8 o'clock instead of none",)
    assert found.line.startswith("Gap 6 to 8 o'clock instead of none: ")
    assert any(i.key == "capsule_hooks" for i in found.items)


def test_a_tried_gap_says_the_same_as_the_finding() -> None:
    tried = _changes(GAP, weak_hours=(6.0, 7.0))
    found = compare(planned(raw(GAP)), planned(changed(GAP, signs__dialysis_clock_hours=[6, 7])))
    assert tried == found


def test_another_technique_is_named() -> None:
    found = _changes(GAP, technique="manual-small-incision")
    assert "manual small incision instead of phacoemulsification" in [i.words for i in found.items]
    assert "phacoemulsification stays" not in found.line


def test_a_ring_that_goes_is_named_once() -> None:
    found = _changes(BROWN, ring="none")
    assert found.line.startswith("No ring instead of ring after the nucleus: ")
    assert "stays" not in found.line.partition(": ")[2].replace("manual small incision stays", "")


def test_loads_that_only_rank_have_no_amount() -> None:
    found = _changes(GAP, weak_hours=(3.0, 4.0, 5.0, 6.0, 7.0))
    words = [i.words for i in found.items if i.key.startswith("zonule-")]
    assert words
    assert not any(re.search(r"\d", w) for w in words)


@pytest.mark.parametrize("name", NAMES)
def test_the_other_eye_says_the_same_with_its_own_hours(name: str) -> None:
    here = _changes(name, weak_hours=(2.0, 3.0))
    other = compare(
        planned(mirrored(raw(name))), planned(mirrored(raw(name)), weak_hours=(mirror_hour(3.0), mirror_hour(2.0)))
    )
    assert [(i.weight, i.key, i.by) for i in here.items] == [(i.weight, i.key, i.by) for i in other.items]


def test_a_line_is_short_enough_to_be_read_while_the_hand_moves() -> None:
    for name in NAMES:
        for moved in ({"weak_hours": (4.0, 5.0, 6.0, 7.0, 8.0)}, {"tunnel_clock": 9.0}, {"capsulorhexis_mm": 7.0}):
            assert len(_changes(name, **moved).line) < 320
