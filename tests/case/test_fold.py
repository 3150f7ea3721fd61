"""The fold: order, withdrawal, correction, disagreement, decisions, progress. The rules are those of docs/facts.md."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.case.bodies import Decided, Done, Found, Happened, Withdrawn
from forestay.case.fact import Fact
from forestay.case.fold import fold, in_fold_order
from forestay.errors import ConflictingFact, ForestayError, MissingInput
from tests.case.strategies import NOON, accepted, fact, histories, length, start

PROPERTY = settings(deadline=None, derandomize=True, max_examples=150)


def said(body: Any, sequence: int, **more: Any) -> Fact:
    """An accepted fact that has seen everything before it, unless it says otherwise."""
    return accepted(fact(body, sequence, **{"based_on": sequence - 1, **more}), sequence)


def length_of(facts: list[Fact]) -> float | None:
    return fold(facts).case.biometry.axial_length_mm


def test_the_later_fact_in_server_order_is_used() -> None:
    facts = [start(), said(length(23.1), 2), said(length(22.4), 3)]
    assert length_of(facts) == 22.4
    assert fold(facts).disagreements == ()


def test_clocks_do_not_order() -> None:
    facts = [start(), said(length(23.1), 2, happened_at=NOON + timedelta(days=3)), said(length(22.4), 3)]
    assert length_of(facts) == 22.4


def test_pending_facts_fold_after_accepted_ones_by_device_sequence() -> None:
    pending = [fact(length(22.2), 9, based_on=1), fact(length(22.1), 8, based_on=1)]
    facts = [*pending, start(), said(length(23.1), 2, device_sequence=2)]
    assert length_of(facts) == 22.2
    assert [f.header.device_sequence for f in in_fold_order(facts)] == [1, 2, 8, 9]


def test_age_and_side_must_be_known() -> None:
    with pytest.raises(MissingInput, match="eye"):
        fold([accepted(fact(Found(values={"person.age_years": 70}), 1), 1)])
    with pytest.raises(MissingInput, match="person"):
        fold([])


def test_withdrawal_and_its_withdrawal() -> None:
    first, second = said(length(23.1), 2), said(length(22.4), 3)
    back = said(Withdrawn(fact=second.header.id, why="contact pressed"), 4)
    again = said(Withdrawn(fact=back.header.id, why="immersion agreed"), 5)
    assert length_of([start(), first, second, back]) == 23.1
    assert length_of([start(), first, second, back, again]) == 22.4


def test_only_an_earlier_fact_can_be_taken_back() -> None:
    second = said(length(22.4), 3)
    ahead = said(Withdrawn(fact=second.header.id, why="?"), 2)
    assert length_of([start(), ahead, second]) == 22.4


def test_a_correction_replaces_the_whole_fact() -> None:
    first = said(Found(values={"signs.trauma": True, "signs.guttae": True}), 2)
    right = said(Found(values={"signs.guttae": True}), 3, corrects=first.header.id)
    signs = fold([start(), first, right]).case.signs
    assert (signs.trauma, signs.guttae) == (None, True)


def test_a_correction_stands_where_the_corrected_fact_stood() -> None:
    """A slip in an old reading, put right, does not come before a newer reading."""
    old, newer = said(length(32.1), 2), said(length(22.4), 3)
    right = said(length(23.1), 4, corrects=old.header.id)
    assert length_of([start(), old, newer, right]) == 22.4
    assert fold([start(), old, newer, right]).disagreements == ()


def test_a_correction_taken_back_restores_the_original() -> None:
    first = said(length(23.1), 2)
    wrong = said(length(32.1), 3, corrects=first.header.id)
    back = said(Withdrawn(fact=wrong.header.id, why="it was right before"), 4)
    assert length_of([start(), first, wrong]) == 32.1
    assert length_of([start(), first, wrong, back]) == 23.1


def test_two_facts_that_do_not_know_one_another_disagree() -> None:
    facts = [start(), said(length(23.1), 2), said(length(22.4), 3, device="d2", based_on=1)]
    situation = fold(facts)
    assert situation.case.biometry.axial_length_mm == 22.4
    (one,) = situation.disagreements
    assert (one.field, one.values) == ("biometry.axial_length_mm", ("23.1 mm", "22.4 mm"))


def test_a_third_measurement_does_not_settle_it_but_a_decision_does() -> None:
    facts = [start(), said(length(23.1), 2), said(length(22.4), 3, device="d2", based_on=1), said(length(23.0), 4)]
    assert fold(facts).case.biometry.axial_length_mm == 23.0
    assert fold(facts).disagreements
    settled = said(Decided(subject="biometry.axial_length_mm", choice=23.1, reason="immersion, repeated"), 5)
    situation = fold([*facts, settled])
    assert situation.disagreements == ()
    assert situation.case.biometry.axial_length_mm == 23.1
    assert [(s.subject, s.choice, s.reason) for s in situation.settled] == [
        ("biometry.axial_length_mm", "23.1 mm", "immersion, repeated")
    ]


def test_a_decision_that_saw_one_side_only_does_not_settle() -> None:
    facts = [start(), said(length(23.1), 2), said(length(22.4), 3, device="d2", based_on=1)]
    blind = said(Decided(subject="biometry.axial_length_mm", choice=23.1, reason="sure"), 4, device="d3", based_on=2)
    assert fold([*facts, blind]).disagreements


def test_taking_one_side_back_ends_the_disagreement() -> None:
    first, second = said(length(23.1), 2), said(length(22.4), 3, device="d2", based_on=1)
    back = said(Withdrawn(fact=first.header.id, why="fellow eye"), 4)
    assert fold([start(), first, second, back]).disagreements == ()


def test_the_same_value_from_two_devices_is_no_disagreement() -> None:
    facts = [start(), said(length(23.1), 2), said(length(23.1), 3, device="d2", based_on=1)]
    assert fold(facts).disagreements == ()


def test_two_decisions_that_do_not_know_one_another_disagree() -> None:
    one = said(Decided(subject="capsulorhexis_mm", choice=5.0, reason="rim"), 2)
    other = said(Decided(subject="capsulorhexis_mm", choice=5.8, reason="nucleus"), 3, device="d2", based_on=1)
    situation = fold([start(), one, other])
    assert situation.decisions.capsulorhexis_mm == 5.8
    assert situation.disagreements[0].field == "capsulorhexis_mm"


def test_the_two_notations_of_acuity_replace_one_another() -> None:
    word = said(Found(values={"eye.visual_acuity": "HM"}), 2)
    number = said(Found(values={"eye.visual_acuity_logmar": 1.0}), 3)
    eye = fold([start(), word, number]).case.eye
    assert (eye.visual_acuity, eye.visual_acuity_logmar) == (None, 1.0)


def test_decisions_reach_the_plan_and_taking_back_leaves_it_to_the_plan() -> None:
    ring = said(Decided(subject="ring", choice="after-nucleus", reason="gap", turned_down=("none: gap",)), 2)
    hooks = said(Decided(subject="pupil_hooks", choice=4, reason="small"), 3)
    free = said(Decided(subject="other eye first", choice="no", reason="it sees"), 4)
    situation = fold([start(), ring, hooks, free])
    assert (situation.decisions.ring, situation.decisions.pupil_hooks) == ("after-nucleus", 4)
    assert [s.subject for s in situation.settled] == ["ring", "pupil_hooks", "other eye first"]
    assert situation.settled[0].turned_down == ("none: gap",)
    back = said(Withdrawn(fact=ring.header.id, why="no ring in stock"), 5)
    assert fold([start(), ring, hooks, back]).decisions.ring is None


def test_what_was_done_and_what_happened_are_kept_in_order() -> None:
    facts = [
        start(),
        said(Done(step="tunnel", by="surgeon"), 2),
        said(Done(step="capsulorhexis", by="surgeon"), 3),
        said(Happened(event="pupil-constriction"), 4),
        said(Done(step="tunnel", by="surgeon"), 5),
    ]
    progress = fold(facts).progress
    assert (progress.done, progress.happened) == (("tunnel", "capsulorhexis"), ("pupil-constriction",))


def test_the_same_fact_twice_counts_once_and_accepted_wins_over_pending() -> None:
    waiting = fact(length(23.1), 2)
    kept = accepted(waiting, 2)
    assert in_fold_order([waiting, start(), kept]) == [start(), kept]
    other = Fact(waiting.header, fact(length(22.0), 2).body)
    with pytest.raises(ConflictingFact, match=str(waiting.header.id)):
        fold([start(), kept, other])


@PROPERTY
@given(histories(), st.randoms(use_true_random=False))
def test_arrival_and_clocks_do_not_matter(facts: list[Fact], chance: Any) -> None:
    def moved(one: Fact) -> Fact:
        times = {"happened_at": NOON + timedelta(minutes=chance.randint(-999, 999)), "recorded_at": NOON}
        return Fact(one.header.model_copy(update=times), one.body)

    shuffled = [moved(one) for one in facts]
    chance.shuffle(shuffled)
    assert fold(shuffled) == fold(facts)


@PROPERTY
@given(histories(undo=False), st.data())
def test_taken_back_is_as_if_it_had_never_been(facts: list[Fact], data: st.DataObject) -> None:
    if len(facts) == 1:
        return
    gone = data.draw(st.sampled_from(facts[1:]))
    back = said(Withdrawn(fact=gone.header.id, why="never was"), len(facts) + 1)
    assert fold([*facts, back]) == fold([one for one in facts if one is not gone])


@PROPERTY
@given(histories(), st.data())
def test_a_withdrawal_taken_back_is_as_if_it_had_never_been(facts: list[Fact], data: st.DataObject) -> None:
    target = data.draw(st.sampled_from(facts))
    back = said(Withdrawn(fact=target.header.id, why="?"), len(facts) + 1)
    again = said(Withdrawn(fact=back.header.id, why="it stands"), len(facts) + 2)
    assert fold([*facts, back, again]) == fold(facts)


@PROPERTY
@given(histories(), st.floats(20, 30))
def test_a_pending_fact_has_the_last_word_on_its_field(facts: list[Fact], value: float) -> None:
    mine = fact(length(value), 99, device="d9", based_on=len(facts))
    assert length_of([mine, *facts]) == value


@PROPERTY
@given(histories())
def test_every_used_value_was_said_and_every_disagreement_has_two_sides(facts: list[Fact]) -> None:
    situation = fold(facts)
    lengths = {one.body for one in facts}
    used = situation.case.biometry.axial_length_mm
    assert used is None or any(repr(used).encode() in body for body in lengths)
    for one in situation.disagreements:
        assert len(one.values) >= 2


@PROPERTY
@given(histories())
def test_known_by_all_means_no_disagreement(facts: list[Fact]) -> None:
    aware = [
        Fact(one.header.model_copy(update={"based_on": (one.header.server_sequence or 1) - 1}), one.body)
        for one in facts
    ]
    assert fold(aware).disagreements == ()


def test_a_body_that_cannot_be_read_is_one_clear_error() -> None:
    bad = Fact(start().header, b'{"values": {"eye.side": "middle"}}')
    with pytest.raises(ForestayError, match=r"eye\.side"):
        fold([bad])
