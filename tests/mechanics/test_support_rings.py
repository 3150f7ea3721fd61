"""Open rings in the search for support: where their ends lie, what they change in the order, and what is said of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from forestay.calc.support import support_search_calculation
from forestay.evidence import default_evidence
from forestay.frame import mirror_by_hour, mirror_hour, wrap_hour
from forestay.mechanics import fast, zonule
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.open_ring_bag import Setting
from forestay.mechanics.open_ring_model import OpenRingConstants, RingState, whole_ring
from forestay.mechanics.open_ring_pull import RingedBag, ringed
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.support_search import search
from forestay.mechanics.support_search_bag import BagStep, Kit, bag_solver
from forestay.mechanics.support_search_model import Found, Outcome, Question, Row, Step, Support, SupportConstants
from forestay.mechanics.zonule import Hold, ZonuleConstants

READER = default_evidence().reader()
CHOICES, OPENED = READER.constants(SupportConstants), READER.constants(OpenRingConstants)
BAGS, RINGS = READER.constants(BagConstants), READER.constants(RingConstants)
SPRINGS = zonule.parameters(bag_diameter_mm=10.6, age_years=74, constants=READER.constants(ZonuleConstants))
LENGTH, PRESTRETCH = float(SPRINGS.fibre_length_mm), float(SPRINGS.prestretch_mm)
KIT = Kit(
    hook=Hold(12.0, 20.0, LENGTH, 0.2, 0.0),
    segment=Hold(12.0, 50.0, LENGTH, 0.0, 60.0),
    suture=Hold(12.0, 50.0, LENGTH, 0.0, 0.0),
    ring=Ring(13.0, 1.9, None),
    opened=OPENED,
)
BORNE, PULL_MN = 4.0, 2.6
STEPS = (
    BagStep("rotation", "lens", tuple(Load("torque", 12.0, PULL_MN, clockwise=c) for c in (True, False))),
    BagStep("lens-in", "empty", (Load("radial", 6.0, 0.5 * PULL_MN, inward=False),)),
    BagStep("left", "empty", left=True),
)
ALL_WEAK = (0.6,) * 12
THREE_LOST = (0.75, 0.75, 0.75, 0.75, 0.0, 0.0, 0.0, 0.75, 0.75, 0.75, 0.75, 0.75)


@pytest.fixture(scope="module", autouse=True)
def compiled() -> Iterator[None]:
    """The compiled solvers, and numpy again afterwards."""
    assert fast.start(), "the extra `fast` belongs to the checks"
    yield
    fast.stop()


@cache
def ranked(support: tuple[float, ...], *, ends: float | None = None, closed: bool = False, stations: int = 48) -> Found:
    """The search in an eye; ``closed``: with rings without ends, as :func:`forestay.mechanics.bag.rest` has them."""
    solve = bag_solver(
        zonule=support,
        springs=SPRINGS,
        steps=STEPS,
        kit=KIT,
        borne_stretch=BORNE,
        constants=BAGS,
        ring_constants=RINGS,
        ring_stations=stations,
    )

    def without_ends(one: Support, key: str) -> Outcome:
        if not one.ring or key == "rotation":
            return solve(one, key)
        bag = Bag(support, SPRINGS, "empty", KIT.ring, KIT.holds(one, "lens"))
        alone, pulled = (
            rest(bag=replace(bag, load=load), constants=BAGS, ring_constants=RINGS, stations=72)
            for load in (None, next((load for step in STEPS for load in step.loads if step.key == key), None))
        )
        reserve = 1 - pulled.peak_stretch_mm / PRESTRETCH / BORNE
        return Outcome(True, alone.displacement_mm, max(pulled.load_mn) / float(SPRINGS.resting_load_mn), reserve)

    question = Question(support, tuple(s.step for s in STEPS), 12.0, False, False, ring_gap_clock=ends)
    return search(question=question, solve=without_ends if closed else solve, constants=CHOICES)


def order(found: Found) -> list[str]:
    """Kinds as they first come."""
    return list(dict.fromkeys(row.support.kind for row in found.rows))


def row_of(found: Found, kind: str) -> Row:
    return next(row for row in found.rows if row.support.kind == kind)


def laid(support: tuple[float, ...], gap_clock: float, *sutured: float) -> RingedBag:
    piece = whole_ring(
        free_diameter_mm=13.0,
        closed_diameter_mm=11.0,
        spring_mn_per_mm=1.9,
        gap_clock=gap_clock,
        sutured_clocks=tuple(sutured),
    )
    return ringed(
        bag=Bag(support, SPRINGS, "empty"), piece=piece, setting=Setting(BAGS, RINGS, OPENED, OPENED.friction, 48)
    )


# --- where the ends lie ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("support", "given", "ends"), [(THREE_LOST, None, 11.0), (ALL_WEAK, None, 12.0), (THREE_LOST, 3.5, 3.5)]
)
def test_every_ring_says_where_its_ends_lie(support: tuple[float, ...], given: float | None, ends: float) -> None:
    """Across from the middle of the weak hours (4, 5 and 6), at 12 where all are weak, else where they are asked for;
    a sutured ring is held in the middle of its arc."""
    eye = {"bag_diameter_mm": 10.6, "age_years": 74, "tunnel_clock": 12, "whole_nucleus_by_hand": False}
    for row in support_search_calculation(**eye, zonule=support, ring_gap_clock=given).result.rows:
        if row.kind in ("ring", "ring-and-hooks"):
            assert row.ring_gap_clock == ends
        elif row.kind == "sutured-ring":
            assert row.fixed_at is not None
            assert row.ring_gap_clock == wrap_hour(row.fixed_at + 6)
        else:
            assert row.ring_gap_clock is None
        told = {one.ring for one in row.by_step} - {None}
        assert told == (set() if row.ring_gap_clock is None else {"held"})


def test_a_ring_asked_for_off_the_middle_is_mirrored_with_its_eye() -> None:
    ours = ranked(THREE_LOST, ends=2.5)
    other = ranked(mirror_by_hour(THREE_LOST), ends=mirror_hour(2.5))
    assert ours.mirrored() == other or ours == other.mirrored()
    assert row_of(ours, "ring").displacement_mm != row_of(ranked(THREE_LOST), "ring").displacement_mm


# --- what ends change ------------------------------------------------------------------------------------------------


def test_in_an_evenly_weak_zonule_the_ends_push_the_ring_behind_its_rivals() -> None:
    """A closed ring pushes alike all round: the bag stays in the middle. An open one pushes hardest at its ends (contact
    of a curved beam that is bent into a smaller circle), and not in between."""
    closed, opened = ranked(ALL_WEAK, closed=True), ranked(ALL_WEAK)
    assert order(closed)[0] == "ring-and-hooks"
    assert order(opened)[0] == "hooks"
    assert row_of(closed, "ring").displacement_mm == pytest.approx(0, abs=1e-6)
    ring = row_of(opened, "ring")
    assert "an open ring pushes hardest at its ends: they push the bag off centre" in ring.reasons
    state = laid(ALL_WEAK, 12.0).alone
    assert state.bag.y_mm > 0.05
    assert state.bag.y_mm == pytest.approx(ring.displacement_mm)
    push = state.pieces[0].push_mn.sum() / 24  # of half a clock hour, were it spread evenly
    assert min(state.pieces[0].end_push_mn) > 1.5 * push


def test_in_a_gap_the_ends_push_the_ring_off_and_its_knot_brings_the_bag_back() -> None:
    """A ring bulges into the gap, so that its suture hangs slack until it is drawn: then the bag lies in the middle."""
    found = ranked(THREE_LOST)
    ring, sutured = row_of(found, "ring"), row_of(found, "sutured-ring")
    assert (ring.displacement_mm or 0) > 0.1
    assert sutured.displacement_mm == pytest.approx(0, abs=1e-3)
    knot = sutured.by_step[-1].knot
    assert knot is not None
    assert knot.state == "centred"
    assert knot.drawn_mm > knot.pulled_mm > (ring.displacement_mm or 0)  # the slack, the shift, and what gives
    assert f"its knot draws {knot.pulled_mm:.2f} mm until the bag is centred along it" in sutured.reasons
    assert order(found).index("sutured-ring") < order(found).index("ring")


@pytest.mark.parametrize("support", [ALL_WEAK, THREE_LOST])
def test_more_stations_and_numpy_change_no_order(support: tuple[float, ...]) -> None:
    few, many = ranked(support), ranked(support, stations=72)
    assert [row.support for row in few.rows] == [row.support for row in many.rows]
    ranked.cache_clear()
    ringed.cache_clear()
    fast.stop()
    plain = ranked(support)
    fast.start()
    assert [row.support for row in plain.rows] == [row.support for row in few.rows]
    for one, other in zip(plain.rows, few.rows, strict=True):
        assert one.reasons == other.reasons
        for name in ("displacement_mm", "reserve", "peak_load"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-6)


# --- sutures and named states ----------------------------------------------------------------------------------------


def test_a_suture_holds_the_ring_against_a_pull_away_from_it_and_hangs_slack_towards_it() -> None:
    bare, sutured = laid(THREE_LOST, 11.0), laid(THREE_LOST, 11.0, 5.0)
    away, towards = Load("radial", 11.0, PULL_MN, inward=False), Load("radial", 5.0, PULL_MN, inward=False)
    assert sutured.under(away).pieces[0].suture_mn[0] > 0.1
    assert sutured.under(away).bag.displacement_mm < bare.under(away).bag.displacement_mm
    assert sutured.under(towards).pieces[0].suture_mn == (0.0,)
    for found, without in ((sutured.alone, bare.alone), (sutured.under(towards), bare.under(towards))):
        assert found.bag.displacement_mm == pytest.approx(without.bag.displacement_mm, abs=1e-6)
        assert found.bag.peak_stretch_mm == pytest.approx(without.bag.peak_stretch_mm, abs=1e-6)
    with pytest.raises(ValueError, match="one suture"):
        laid(THREE_LOST, 11.0, 4.0, 6.0)


@pytest.mark.parametrize(
    ("state", "held", "words"),
    [
        ("slid", True, "the ring turns out of its place at: lens-in"),
        ("escaped", False, "the ring finds no rest in the bag at: lens-in"),
        ("collapsed", False, "the bag is not held at: lens-in"),
    ],
)
def test_what_becomes_of_a_ring_is_said(state: RingState, held: bool, words: str) -> None:
    def solve(support: Support, step: str) -> Outcome:
        told = state if support.ring and step == "lens-in" else None
        return Outcome(told is None or held, 0.1, 1.0, 0.2, told)

    steps = (Step("rotation", False), Step("lens-in", True))
    found = search(question=Question(ALL_WEAK, steps, 12.0, False, False), solve=solve, constants=CHOICES)
    for row in found.rows:
        assert (words in row.reasons) == row.support.ring


def test_what_hooks_do_is_gone_with_them() -> None:
    rows: Any = ranked(THREE_LOST).rows
    for row in rows:
        told = [words for words in row.reasons if words.startswith("its hooks ")]
        assert len(told) == bool(row.support.hooks)
        bare = row_of(ranked(THREE_LOST), row.support.left().kind)
        if not row.support.segments and row.support.fixed_at is None:
            assert row.displacement_mm == bare.displacement_mm
