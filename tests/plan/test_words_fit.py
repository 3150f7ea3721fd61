"""Words that fit this eye: hours in their order, a side only where it is known, one of two drugs, times that are real."""

from __future__ import annotations

import pytest

from forestay.plan.model import Plan
from forestay.plan.words_clock import hours_text
from tests.plan.cases import changed, planned, raw
from tests.plan.sentences import sentences
from tests.plan.test_sentences import step

BROWN, HARD, TRAUMA = "brown-pseudoexfoliation", "hard-poor-endothelium", "trauma-gap"


@pytest.mark.parametrize(
    ("hours", "said"),
    [
        ((12.0, 1.5, 10.5), "10:30, 12 and 1:30"),
        ((12.0, 6.0, 9.0), "6, 9 and 12"),
        ((1.0, 11.0, 3.5, 6.0, 8.5), "1, 3:30, 6, 8:30 and 11"),
        ((1.5, 11.5), "11:30 and 1:30"),
        ((3.0, 9.0), "3 and 9"),
    ],
)
def test_hours_stand_in_their_order_round_the_clock(hours: tuple[float, ...], said: str) -> None:
    assert hours_text(hours) == said


def _cues(plan: Plan, key: str) -> list[str]:
    return [c.see for c in step(plan, key).cues]


def test_no_side_is_called_weak_that_nobody_found() -> None:
    for name in (BROWN, HARD):
        plan = planned(raw(name), draws=50)
        assert not [s for s in sentences(plan) if "weakest side found" in s or "weak side found" in s]
        assert "at 6 o'clock, away from the tunnel" in step(plan, "pole").do
        assert "a gap shows" in _cues(plan, "inspect")
        assert not [s for s in sentences(plan) if "two clock hours wider" in s or "larger than planned (" in s]
    gap = planned(changed(TRAUMA, theatre__techniques=["manual-small-incision"]), draws=50)
    assert "opposite the gap at 4 to 6 o'clock" in step(gap, "pole").do
    assert "the gap is larger than planned" in _cues(gap, "inspect")


def test_the_sign_of_an_open_capsule_can_be_had_where_nothing_is_turned() -> None:
    for change, can_turn in (({}, True), ({"lens__posterior_polar": True}, False)):
        plan = planned(changed(HARD, **change), draws=50)
        assert any("will not turn" in see for see in _cues(plan, "hydrodissection")) is can_turn
        assert step(plan, "hydrodissection").name == ("Hydrodissection" if can_turn else "Delineation")


def test_what_was_worked_out_beforehand_does_not_sound_as_if_done() -> None:
    said = [c.then for s in planned(raw(HARD)).steps for c in s.cues]
    assert any("the fibre most pulled carries" in s and "healthy loads less" in s for s in said)
    assert not [s for s in said if "tried" in s or "x healthy resting load" in s]


def test_acetazolamide_or_mannitol_with_both_amounts_for_a_frail_man() -> None:
    """61 kg: 1 g/kg of 20 % are 305 ml, 0.5 g/kg 152.5 ml."""
    doses = {d.drug: d for d in planned(raw(BROWN), draws=50).doses}
    assert "305 ml" in doses["mannitol"].dose
    assert "152 ml" in doses["mannitol"].dose
    assert "instead of acetazolamide" in doses["mannitol"].caution
    assert "then mannitol alone" in doses["acetazolamide"].dose
    deep = {d.drug: d for d in planned(changed(BROWN, biometry__chamber_depth_mm=3.2), draws=50).doses}
    assert "mannitol" not in deep
    assert "mannitol" not in deep["acetazolamide"].dose


def test_a_tunnel_that_is_short_is_sutured_by_plan() -> None:
    short, fits = planned(raw(BROWN), draws=50), planned(changed(BROWN, lens__grade=2), draws=50)
    assert "planned if the tunnel was lengthened" in step(short, "close").do
    assert "lengthened" not in step(fits, "close").do


def test_drops_before_an_eye_that_cannot_wait_start_today() -> None:
    for name, said in (("white-swollen", "from today"), (BROWN, "from 2 days before")):
        drops = next(d for d in planned(raw(name), draws=50).doses if d.drug == "bromfenac drops")
        assert said in drops.dose


def test_the_length_of_an_operation_is_that_of_the_days_list() -> None:
    """Brown: 8.8 + hooks 4 + 5, ring 4, dye 1, weak zonule 6, hardness 2 x 2, all half as much again for a consultant: 49."""
    option = next(o for o in planned(raw(BROWN), draws=50).options if o.technique == "manual-small-incision")
    found = next(c for c in option.criteria if c.key == "minutes")
    assert found.value == pytest.approx(48, abs=2)  # the median lies a little under the mean of 49.2
