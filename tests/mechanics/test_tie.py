"""The knot of a scleral suture: it centres the bag, by the force that balances what is left of the zonule."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from forestay.calc.bag import bag as bag_calculation
from forestay.calc.ring_in_bag import ring_in_bag
from forestay.calc.support import support_search_calculation as search
from forestay.evidence import default_evidence
from forestay.frame import mirror_by_hour, mirror_hour
from forestay.mechanics import fast, zonule
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.open_ring_bag import Setting
from forestay.mechanics.open_ring_model import OpenRingConstants, whole_ring
from forestay.mechanics.open_ring_pull import RingedBag, ringed
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.tie import CENTRED_TOLERANCE_MM, TRIES_LIMIT, along, drawn
from forestay.mechanics.zonule import ZonuleConstants

READER = default_evidence().reader()
OPENED = READER.constants(OpenRingConstants)
SETTING = Setting(READER.constants(BagConstants), READER.constants(RingConstants), OPENED, OPENED.friction, 48)
SPRINGS = zonule.parameters(bag_diameter_mm=10.6, age_years=74, constants=READER.constants(ZonuleConstants))
EYE = {"bag_diameter_mm": 10.6, "age_years": 74}
SHARE = 0.75


@pytest.fixture(scope="module", autouse=True)
def compiled() -> Iterator[None]:
    """The compiled solvers, and numpy again afterwards."""
    assert fast.start(), "the extra `fast` belongs to the checks"
    yield
    fast.stop()


def lost(count: int) -> tuple[tuple[float, ...], float]:
    """A zonule with that many hours lost round 6 o'clock, and the middle of the gap."""
    first = 6 - count // 2
    return tuple(0.0 if first <= h < first + count else SHARE for h in range(12)), first + (count - 1) / 2


def tied(support: tuple[float, ...], at: float, *, tie: bool = True) -> RingedBag:
    """A ring sutured at ``at``, its ends across from there."""
    piece = whole_ring(
        free_diameter_mm=13.0,
        closed_diameter_mm=11.0,
        spring_mn_per_mm=1.9,
        gap_clock=(at + 6) % 12 or 12.0,
        sutured_clocks=(at,),
    )
    return ringed(bag=Bag(support, SPRINGS, "empty"), piece=piece, setting=SETTING, tie=tie)


# --- the search for the length ---------------------------------------------------------------------------------------


def test_the_length_is_found_where_force_stiffens_and_where_nothing_rests_beyond() -> None:
    """Roots known in closed form: d + d^3 = 0.3 + 0.027 at d = 0.3; and a wall beyond which there is no rest."""
    tries: list[float] = []

    def stiffening(d: float) -> float | None:
        tries.append(d)
        return None if d > 0.35 else d + d**3 - 0.327

    knot = drawn(shift_mm=stiffening, from_mm=0.0, limit_mm=1.5)
    assert knot.state == "centred"
    assert knot.drawn_mm == pytest.approx(0.3, abs=CENTRED_TOLERANCE_MM)
    assert len(tries) <= TRIES_LIMIT + 1
    assert drawn(shift_mm=lambda d: d + 0.1, from_mm=0.2, limit_mm=1.5).state == "slack"
    short = drawn(shift_mm=lambda d: 0.1 * d - 0.5, from_mm=0.0, limit_mm=1.5)
    assert (short.state, short.drawn_mm) == ("limited", 1.5)


def test_sutures_across_from_one_another_are_only_tied_tight() -> None:
    assert along((3.0, 9.0)) is None
    assert along(()) is None
    towards = along((5.0, 7.0))
    assert towards is not None
    assert towards == pytest.approx(np.array([0.0, -1.0]))


# --- what it does ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 3, 5, 7])
def test_a_knot_holds_the_lens_in_the_middle_with_what_the_lost_hours_would_pull(count: int) -> None:
    """Statics of the centred disc: twelve equal pulls sum to nothing, so the knot bears the sum of the lost ones,
    share x resting load x sum of cos(angle from the gap's middle). Without the knot the lens lies off."""
    support, at = lost(count)
    answer = bag_calculation(**EYE, zonule=support, contents="lens", segments=[at]).result
    angles = np.deg2rad(30 * (np.flatnonzero(np.array(support) == 0) - at))
    (hold,) = answer.holds or ()
    assert answer.displacement_mm == pytest.approx(0, abs=2 * CENTRED_TOLERANCE_MM)
    assert hold.load == pytest.approx(SHARE * np.cos(angles).sum(), rel=5e-3)
    loose = bag_calculation(**EYE, zonule=support, contents="lens", segments=[at], sutures="just-tight").result
    assert (loose.displacement_mm or 0) > 10 * CENTRED_TOLERANCE_MM
    assert loose.knot is None


def test_a_sutured_ring_is_drawn_to_the_middle_and_pulls_harder_the_more_is_lost() -> None:
    """The resultant of what is left grows up to half the circle lost (sum of cosines: 1, 2.7, 3.7 times) and so does the
    knot's pull; just tight it hangs slack up to three hours."""
    pulls = []
    for count in (1, 3, 5):
        found, loose = tied(*lost(count)).alone, tied(*lost(count), tie=False).alone
        assert found.knot is not None
        assert found.knot.state == "centred"
        assert found.bag.displacement_mm < 2 * CENTRED_TOLERANCE_MM < loose.bag.displacement_mm
        assert found.balance_mn < 1e-4  # fibres, ring and suture on the bag
        pulls.append(found.pieces[0].suture_mn[0])
    assert pulls == sorted(pulls)
    assert pulls[-1] > 1.5 * pulls[0]
    assert tied(*lost(3), tie=False).alone.pieces[0].suture_mn == (0.0,)


def test_a_bag_that_its_ring_alone_does_not_hold_is_held_by_the_knot() -> None:
    support, at = lost(8)
    bare = ringed(
        bag=Bag(support, SPRINGS, "empty"),
        piece=replace(tied(support, at).piece, sutured_clocks=(), drawn_mm=0.0),
        setting=SETTING,
    )
    assert bare.alone.state == "collapsed"
    assert tied(support, at).alone.state == "held"
    assert tied(support, at).alone.bag.displacement_mm < 2 * CENTRED_TOLERANCE_MM


def test_the_other_eye_is_tied_alike_and_numpy_ties_as_the_compiled_solver_does() -> None:
    support, at = lost(3)
    uneven = tuple(share * (1 + 0.01 * h) for h, share in enumerate(support))
    load = Load("radial", 2.5, 0.6, inward=False)
    ours, other = tied(uneven, at + 0.5), tied(mirror_by_hour(uneven), mirror_hour(at + 0.5))
    for one, two in ((ours.alone, other.alone), (ours.under(load), other.under(load.mirrored()))):
        assert one.bag.load_mn == two.mirrored().bag.load_mn
        assert one.bag.displacement_mm == two.bag.displacement_mm
    ringed.cache_clear()
    fast.stop()
    plain = tied(uneven, at + 0.5)
    fast.start()
    assert plain.alone.bag.x_mm == pytest.approx(ours.alone.bag.x_mm, abs=1e-6)
    assert plain.under(load).bag.peak_stretch_mm == pytest.approx(ours.under(load).bag.peak_stretch_mm, abs=1e-6)


# --- in the calculations ---------------------------------------------------------------------------------------------


def test_calculations_tie_until_centred_unless_asked_not_to() -> None:
    support, at = lost(3)
    ring = {"free_diameter_mm": 13.0, "spring_mn_per_mm": 1.9, "gap_clock": 11.5}
    keys = {**EYE, "zonule": support, "ring": ring, "sutured_clocks": [at]}
    centred, loose = ring_in_bag(**keys).result, ring_in_bag(**keys, sutures="just-tight").result
    assert centred.knot is not None
    assert centred.knot.state == "centred"
    assert loose.knot is None
    assert (centred.displacement_mm or 0) < 0.1 * (loose.displacement_mm or 0)
    pair = ring_in_bag(**{**keys, "sutured_clocks": [4, 7]}).result
    assert (pair.displacement_mm or 0) < 0.2 * (loose.displacement_mm or 0)


def test_beyond_four_hours_hooks_until_a_sutured_ring_lead_as_is_taught() -> None:
    """Common teaching: a plain ring up to about four lost hours, a sutured one beyond (management evidence, Z5 and Z8)."""
    support, _ = lost(5)
    first, *others = search(**EYE, zonule=support, tunnel_clock=12, whole_nucleus_by_hand=False).result.rows
    assert first.kind == "sutured-ring"
    assert first.hooks
    assert first.ring_timing == "later"
    assert "its hooks bridge the time until it is sutured in the empty bag, and come out again" in first.reasons
    (alone,) = [row for row in others if row.kind == "hooks" and row.hooks == first.hooks]
    assert not alone.held
    assert "once all is done and its hooks are out the bag is not held" in alone.reasons


def test_the_search_ties_what_is_sutured_and_says_how_far_it_draws() -> None:
    """At the end nothing centres the bag better, at the price of the neighbours' load that stands beside it."""
    support, at = lost(5)
    rows = search(**EYE, zonule=support, tunnel_clock=12, whole_nucleus_by_hand=False).result.rows
    by_kind = {row.kind: row for row in reversed(rows)}
    ring, sutured, segment = by_kind["ring"], by_kind["sutured-ring"], by_kind["segment"]
    assert sutured.fixed_at == at
    assert (sutured.displacement_mm or 0) < 0.02 * (ring.displacement_mm or 0)
    assert (segment.displacement_mm or 0) < 0.02 * (ring.displacement_mm or 0)
    assert [row.kind for row in rows].index("sutured-ring") < [row.kind for row in rows].index("ring")
    for row in (sutured, segment):
        assert row.knot is not None
        assert row.knot.state == "centred"
        assert f"its knot draws {row.knot.pulled_mm:.2f} mm until the bag is centred along it" in row.reasons
        assert row.peak_load is not None
    assert ring.knot is None
