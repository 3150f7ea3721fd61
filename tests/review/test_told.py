"""Predictions kept with a case are scored when their truth is known, and not before."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import pytest

from forestay.case.bodies import Done, Happened, Seen
from forestay.evidence import Reader, default_evidence
from forestay.review.from_plan import Foretold
from forestay.review.invented import Truth, outcomes
from forestay.review.make import Review, review
from forestay.review.outcome import Vector, outcome_of
from forestay.review.refraction import own_constants
from forestay.review.told import chances, scores, spans
from forestay.review.trainees import learners, turn
from tests.review.test_outcome import kept, operated, plan, read

SEED = 4_417


@pytest.fixture(scope="module")
def found() -> Review:
    made = outcomes(2500, seed=SEED, truth=Truth(true_a=118.4, told_flattening_d=0.9, told_flattening_sd_d=0.35))
    return review(made, default_evidence().reader())


def use() -> Reader:
    return default_evidence().reader()


def test_truth_of_surgery_is_known_at_once_and_later_truth_only_once_seen() -> None:
    one = replace(
        read(operated()),
        foretold=(
            Foretold("capsule-rupture", 0.04, of_this_eye=True),
            Foretold("capsule-rupture", 0.01, of_this_eye=False),
            Foretold("endophthalmitis", 0.0004, of_this_eye=False),
            Foretold("intraoperative", 0.1, of_this_eye=False),
        ),
    )
    told = {c.about: (c.said, c.came) for c in chances(one, use())}
    assert told == {"capsule-rupture": (0.04, False), "endophthalmitis": (0.0004, None)}
    late = {c.about: c.came for c in chances(replace(one, last_day=40), use())}
    assert late["endophthalmitis"] is False
    hit = {c.about: c.came for c in chances(replace(one, events=("endophthalmitis",), last_day=3), use())}
    assert hit["endophthalmitis"] is True


def test_the_interval_of_a_refraction_lies_about_what_was_told_for_the_lens_put_in() -> None:
    one = replace(read(operated()), predicted_refraction_d=-0.58, refraction_half_d=0.8, refraction_d=0.1)
    (early, *_) = spans(replace(one, refraction_day=7), use())
    assert (early.low, early.high, early.came) == pytest.approx((-1.38, 0.22, None))
    (late, *_) = spans(replace(one, refraction_day=40), use())
    assert late.came == 0.1
    assert late.level == 0.9


def test_flattening_is_not_scored_where_the_incision_was_made_elsewhere() -> None:
    one = replace(read(operated("right")), induced=Vector(0.7, 0.0))
    (told,) = (s for s in spans(one, use()) if s.about == "flattening")
    # 0.7 D told with a spread of 0.4 D, at 90 %.
    half = NormalDist().inv_cdf(0.95) * 0.4
    assert (told.low, told.high, told.came) == pytest.approx((0.7 - half, 0.7 + half, 0.7))
    moved = replace(one, sizes={"tunnel_clock": (12.0, 9.5)})
    assert [s.about for s in spans(moved, use())] == []


def test_a_practice_as_told_is_scored_as_told(found: Review) -> None:
    rupture = next(s for s in found.told.chances if s.about == "capsule-rupture")
    assert rupture.ratio_low is not None
    assert rupture.ratio_high is not None
    assert rupture.ratio_low < 1 < rupture.ratio_high
    infection = next(s for s in found.told.chances if s.about == "endophthalmitis")
    assert infection.waiting == pytest.approx(2500 * 0.15, rel=0.15)
    assert {s.about: s.verdict for s in found.told.spans} == dict.fromkeys(
        ("refraction", "flattening", "cells"), "as-told"
    )


def test_a_wrong_constant_shows_as_intervals_that_hold_too_seldom() -> None:
    made = outcomes(900, seed=SEED, truth=Truth(true_a=119.0))
    refraction = next(s for s in scores(made, use()).spans if s.about == "refraction")
    assert refraction.verdict == "too-narrow"
    assert refraction.above > 10 * max(1, refraction.below)


def test_few_known_cases_are_named_and_not_shown() -> None:
    told = scores(outcomes(4, seed=SEED, truth=Truth(followed=1.0)), use())
    assert told.chances == told.spans == ()
    assert "capsule-rupture" in told.too_few
    assert "refraction" in told.too_few


def test_a_ticked_check_is_no_step_and_the_plan_kept_after_it_is_what_was_told() -> None:
    book = operated()
    facts = [f for f in book.facts if f.header.kind not in ("planned", "done", "happened")]
    book.facts = facts
    book.note(Done(step="check: before marked", by="nurse-3"))
    assert outcome_of("eye-1", book.facts) is None
    book.note(Done(step="lens compared with the plan", by="nurse-3", sizes={"box_power_d": 21.0}))
    book.note(kept(plan()))
    book.note(Done(step="tunnel", by="trainee-2"))
    book.note(
        Done(
            step="lens", by="trainee-2", sizes={"lens_power_d": 21.0}, devices=("serial 99812", "article 0506", "lot A")
        )
    )
    book.note(Seen(day=40, refraction_d=-0.9))
    one = read(book)
    assert one.predicted_refraction_d == pytest.approx(-0.4)
    assert one.surgeon == "trainee-2"
    assert one.lens_model == "article 0506"
    assert one.hands == (("tunnel", "trainee-2"), ("lens", "trainee-2"))


def test_an_own_constant_is_learnt_from_the_length_that_the_plan_reckoned_with() -> None:
    """A plan adds to a contact length; a constant learnt from the bare reading would add it a second time."""
    made = outcomes(60, seed=SEED, truth=Truth(followed=1.0))
    added = [replace(o, axial_length_mm=(o.axial_length_mm or 0) - 0.2, length_used_mm=o.axial_length_mm) for o in made]
    (plain,), (with_added,) = own_constants(made, use()), own_constants(added, use())
    assert with_added.constant == plain.constant


def test_an_operation_counts_for_whoever_began_it() -> None:
    base = outcomes(12, seed=SEED, truth=Truth(surgeons=1))
    both = (("tunnel", "trainee-2"), ("rotation", "consultant-1"), ("lens", "consultant-1"))
    cases = [replace(o, grade="junior-trainee", surgeon="consultant-1", hands=both) for o in base]
    (one,) = learners(cases, use())
    assert one.surgeon == "trainee-2"
    assert one.taken_at == (("rotation", 12),)
    assert [s.taken_over for s in one.stretches] == [12]
    agreed = [replace(o, steps_supervised=("rotation", "lens")) for o in cases]
    assert turn(agreed[0]).how == "as-agreed"
    assert learners(cases[:4], use()) == ()


def test_a_torn_zonule_counts_by_itself() -> None:
    book = operated()
    book.note(Happened(event="vitreous-in-chamber"))
    one = replace(read(book), foretold=(Foretold("zonular-dialysis", 0.08, of_this_eye=False),))
    (told,) = chances(one, use())
    assert (told.came, told.of_this_eye) == (True, False)
