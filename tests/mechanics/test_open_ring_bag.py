"""Open rings and segments in the bag: figures, balance, symmetry, refinement, states."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.ring import BALANCE_LIMIT_MN, SEED, random_eye
from forestay.evidence import default_evidence
from forestay.frame import mirror_by_hour, mirror_hour
from forestay.mechanics import bag as plain
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.open_ring_bag import Setting, rest
from forestay.mechanics.open_ring_model import OpenRingConstants, OpenRingState, Piece, segment, whole_ring
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.zonule import Hold, ZonuleParameters

READER = default_evidence().reader()
SETTING = Setting(
    READER.constants(BagConstants), READER.constants(RingConstants), READER.constants(OpenRingConstants), 0.1, 72
)
LOW = ZonuleParameters(5.0, 1.5, 0.2, 10.6, 0.1)
HIGH = ZonuleParameters(5.0, 1.5, 0.2, 84.8, 0.1)
HEALTHY = (1.0,) * 12
THREE_LOST = (0.0, 0.0, *(1.0,) * 9, 0.0)  # 11, 12, 1
SOFT, STIFF = 0.8162, 4.5501  # published spring constants of the softest and stiffest ring [mN/mm]


def ring(gap: float, spring: float = SOFT, closed: float = 11.0, sutured: tuple[float, ...] = ()) -> Piece:
    return whole_ring(
        free_diameter_mm=13.0, closed_diameter_mm=closed, spring_mn_per_mm=spring, gap_clock=gap, sutured_clocks=sutured
    )


def ask(
    *pieces: Piece,
    support: tuple[float, ...] = HEALTHY,
    springs: ZonuleParameters = HIGH,
    contents: Any = "empty",
    friction: float = 0.1,
    stations: int = 72,
    **more: Any,
) -> OpenRingState:
    setting = replace(SETTING, friction=friction, stations=stations)
    return rest(bag=Bag(support, springs, contents, **more), pieces=pieces, setting=setting)


def test_soft_ring_in_a_rigid_bag_touches_at_its_ends_and_far_away_only() -> None:
    # published on a throw-away prototype of this project, hard contact on fixed normals, 73 / 145 / 289 nodes within
    # 0.2 %: ends 2.35 mN each, an arc that starts 116 degrees from each end, stand-off 0.12 mm, 12.5 mN in all
    found = ask(ring(12.0), contents="lens", friction=0.0, stations=144)
    piece = found.pieces[0]
    assert found.state == "held"
    assert piece.end_push_mn == pytest.approx((2.35, 2.35), rel=5e-3)
    assert piece.push_mn.sum() == pytest.approx(12.5, rel=5e-3)
    assert piece.stand_off_mm == pytest.approx(0.12, abs=5e-3)
    # the ring leaves the wall so flat that a micrometre of depth moves this by a few degrees
    assert piece.touch_deg[0] == pytest.approx(116, abs=5)
    assert piece.touch_deg[0] == pytest.approx(piece.touch_deg[1], abs=1e-3)
    # a ring alone puts no net force on a bag
    assert found.bag.displacement_mm == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(("springs", "out", "flank"), [(HIGH, 5.22, 4.94), (LOW, 5.38, 4.85)])
def test_ends_push_the_equator_out_and_draw_the_flanks_in(springs: ZonuleParameters, out: float, flank: float) -> None:
    # a ring that covers all but 20 degrees, as a sleeve with its ends free, on the prototype: 5.22 / 5.38 at the ends,
    # 4.94 / 4.85 at the flanks; here the ring only pushes, so it may differ by a little
    found = ask(ring(12.0, closed=10.0 * 340 / 360), springs=springs, friction=0.02, stations=144)
    radius = np.hypot(*(found.bag.outline_mm - found.bag.outline_mm.mean(axis=1)[:, None]))
    assert found.peak_radius_mm == pytest.approx(out, abs=0.04)
    assert radius.min() == pytest.approx(flank, abs=0.02)


@pytest.mark.parametrize("springs", [LOW, HIGH])
def test_place_of_the_gap_matters_as_much_as_the_prototype_said(springs: ZonuleParameters) -> None:
    # sleeve with a 30 degree gap, three hours lost, stiff zonule: 0.10 gap at the dialysis, 0.14 opposite, 0.24 beside;
    # and "by 2 to 6 times" over both readings of the zonule
    moved = [
        ask(ring(gap, closed=10.0 * 330 / 360), support=THREE_LOST, springs=springs, stations=144).bag.displacement_mm
        for gap in (12.0, 6.0, 3.0)
    ]
    if springs is HIGH:
        assert moved == pytest.approx([0.10, 0.14, 0.24], abs=0.02)
    assert moved[0] < moved[1] < moved[2]
    assert moved[2] > 2 * moved[0]


@pytest.mark.parametrize(
    ("springs", "gap"), [(HIGH, 12.0), (HIGH, 6.0), (HIGH, 3.0), (LOW, 12.0), (LOW, 6.0), (LOW, 3.0)]
)
def test_with_high_friction_it_moves_as_the_sleeve_with_a_gap(springs: ZonuleParameters, gap: float) -> None:
    # the sleeve of ring_loop (bending on the covered part, bound to the bag) with a gap of 30 degrees
    wider = replace(springs, bag_radius_mm=5.0 * 12 / 11)
    sleeve = plain.rest(
        bag=Bag(THREE_LOST, wider, "empty", ring=Ring(12.3, SOFT, gap)),
        constants=SETTING.bag,
        ring_constants=SETTING.rings,
    )
    same = whole_ring(free_diameter_mm=12.3, closed_diameter_mm=10.0, spring_mn_per_mm=SOFT, gap_clock=gap)
    found = ask(same, support=THREE_LOST, springs=wider, friction=0.4, stations=144)
    assert found.bag.displacement_mm == pytest.approx(sleeve.displacement_mm, rel=0.12)


@pytest.mark.parametrize("spring", [SOFT, STIFF])
@pytest.mark.parametrize("springs", [LOW, HIGH])
def test_a_ring_recentres_wherever_its_gap(spring: float, springs: ZonuleParameters) -> None:
    alone = plain.rest(
        bag=Bag(THREE_LOST, springs, "empty"), constants=SETTING.bag, ring_constants=SETTING.rings, stations=72
    )
    for gap in (12.0, 3.0, 6.0):
        found = ask(ring(gap, spring), support=THREE_LOST, springs=springs)
        assert found.state == "held"
        assert found.bag.displacement_mm < 0.6 * alone.displacement_mm


@pytest.mark.parametrize("friction", [0.0, 0.1, 0.3])
@pytest.mark.parametrize("contents", ["empty", "lens"])
def test_forces_balance(friction: float, contents: str) -> None:
    load = Load("radial", 4.0, 1.0)
    found = ask(ring(2.5, 2.0), support=THREE_LOST, contents=contents, friction=friction, load=load)
    assert found.bag.converged
    assert found.balance_mn <= BALANCE_LIMIT_MN


def test_friction_stays_within_its_share_of_the_push() -> None:
    found = ask(ring(3.0), support=THREE_LOST, friction=0.2)
    loose = ask(ring(3.0), support=THREE_LOST, friction=0.0)
    # friction does no more than hold back: the energy stored with it is never less than without
    assert found.energy_mn_mm >= loose.energy_mn_mm - 1e-6


@pytest.mark.parametrize("gap", [12.0, 6.0, 3.0])
def test_stations_matter_little(gap: float) -> None:
    coarse, middle, fine = (ask(ring(gap), support=THREE_LOST, stations=n) for n in (48, 72, 144))
    assert coarse.bag.displacement_mm == pytest.approx(fine.bag.displacement_mm, abs=0.01)
    assert middle.bag.displacement_mm == pytest.approx(fine.bag.displacement_mm, abs=0.005)
    assert max(middle.bag.load_mn) == pytest.approx(max(fine.bag.load_mn), rel=0.03)


def test_energy_falls_to_its_limit_in_proportion_to_the_spacing() -> None:
    # a concentrated push kinks the wall, which the stations resolve to one spacing: first order, measured
    energy = [ask(ring(12.0), friction=0.05, stations=n).energy_mn_mm for n in (48, 96, 192)]
    order = np.log2((energy[0] - energy[1]) / (energy[1] - energy[2]))
    assert 0.8 <= order <= 2.2
    assert energy[0] - energy[2] <= 0.05 * energy[2]


def test_the_whole_answer_turns_with_the_eye() -> None:
    one = ask(ring(1.0), support=THREE_LOST)
    turned = tuple(np.roll(THREE_LOST, 4))
    other = ask(ring(5.0), support=turned)
    # worked out in the other mirror image, where friction takes another way: 1 % of the slip at which it sticks
    assert other.bag.displacement_mm == pytest.approx(one.bag.displacement_mm, abs=1e-4)
    assert np.roll(one.bag.load_mn, 4) == pytest.approx(np.array(other.bag.load_mn), abs=2e-3)


@st.composite
def eyes(draw: st.DrawFn) -> tuple[Bag, tuple[Piece, ...], float]:
    support = [draw(st.floats(0, 1)) for _ in range(12)]
    first, lost = draw(st.integers(0, 11)), draw(st.integers(0, 7))
    for hour in range(lost):
        support[(first + hour) % 12] = 0.0
    radius = draw(st.floats(4.3, 5.8))
    springs = ZonuleParameters(radius, 1.5, draw(st.floats(0.05, 0.4)), draw(st.floats(5, 200)), 0.1)
    clock = st.integers(1, 96).map(lambda n: n / 8)
    pieces: tuple[Piece, ...] = ()
    if draw(st.booleans()):
        sutured = tuple(sorted(draw(st.lists(clock, max_size=2, unique=True))))
        closed = draw(st.floats(8, 12))
        pieces = (
            whole_ring(
                free_diameter_mm=closed + draw(st.floats(0.5, 3)),
                closed_diameter_mm=closed,
                spring_mn_per_mm=draw(st.floats(0.5, 5)),
                gap_clock=draw(clock),
                sutured_clocks=sutured,
            ),
        )
    for _ in range(draw(st.integers(0 if pieces else 1, 2))):
        arc = draw(st.floats(60, 150))
        pieces += (segment(arc_deg=arc, clock=draw(clock), free_diameter_mm=13.0, spring_mn_per_mm=2.0),)
    contents: Any = draw(st.sampled_from(["empty", "lens"]))
    return Bag(tuple(support), springs, contents), pieces, draw(st.floats(0, 0.4))


@settings(deadline=None, derandomize=True, max_examples=40)
@given(eyes())
def test_always_a_state_finite_and_the_same_in_the_other_eye(given_: tuple[Bag, tuple[Piece, ...], float]) -> None:
    bag, pieces, friction = given_
    setting = replace(SETTING, friction=friction, stations=24)
    found = rest(bag=bag, pieces=pieces, setting=setting)
    assert found.state in ("held", "slid", "escaped", "collapsed", "unsupported")
    assert np.isfinite([found.bag.x_mm, found.bag.y_mm, found.peak_radius_mm, *found.bag.load_mn]).all()
    for piece in found.pieces:
        assert np.isfinite(piece.outline_mm).all()
        assert np.isfinite(piece.push_mn).all()
        assert piece.push_mn.min() >= 0
    other = rest(bag=bag.mirrored(), pieces=tuple(p.mirrored() for p in pieces), setting=setting)
    assert other.state == found.state
    assert other.bag.y_mm == found.bag.y_mm
    assert other.bag.x_mm == -found.bag.x_mm
    assert other.bag.load_mn == mirror_by_hour(found.bag.load_mn)
    for piece, one, two in zip(pieces, found.pieces, other.pieces, strict=True):
        pulls = dict(zip(piece.rounded().sutured_clocks, one.suture_mn, strict=False))
        mirrored = dict(zip(piece.mirrored().rounded().sutured_clocks, two.suture_mn, strict=False))
        assert {mirror_hour(clock): pull for clock, pull in mirrored.items()} == pulls
        assert np.array_equal(two.push_mn[::-1], one.push_mn)


def test_pulls_of_sutures_keep_their_clock_hours_in_the_other_eye() -> None:
    one = ask(ring(6.0, sutured=(2.0, 12.0)), support=THREE_LOST)
    other = ask(ring(6.0, sutured=(10.0, 12.0)), support=mirror_by_hour(THREE_LOST))
    by_clock = dict(zip((2.0, 12.0), one.pieces[0].suture_mn, strict=True))
    mirrored = dict(zip((10.0, 12.0), other.pieces[0].suture_mn, strict=True))
    assert {mirror_hour(clock): pull for clock, pull in mirrored.items()} == by_clock
    assert by_clock[2.0] != by_clock[12.0]


def test_order_of_pieces_does_not_matter() -> None:
    parts = [segment(arc_deg=90, clock=c, free_diameter_mm=13.0, spring_mn_per_mm=2.0) for c in (10.5, 2.0)]
    one, other = ask(*parts, support=THREE_LOST), ask(*parts[::-1], support=THREE_LOST)
    assert one.bag.load_mn == other.bag.load_mn
    assert one.pieces[0].suture_mn == other.pieces[1].suture_mn


@pytest.mark.parametrize("springs", [LOW, HIGH])
def test_a_suture_in_the_weak_area_holds_where_a_ring_alone_does_less(springs: ZonuleParameters) -> None:
    support = (0.0, 0.0, 0.0, *(1.0,) * 7, 0.0, 0.0)  # 10 to 2
    alone = ask(ring(6.0), support=support, springs=springs)
    held = ask(ring(6.0, sutured=(12.0,)), support=support, springs=springs)
    assert held.state == "held"
    assert held.bag.displacement_mm < alone.bag.displacement_mm
    assert held.pieces[0].suture_mn[0] > 0


def test_two_sutures_hold_a_bag_without_zonule_and_none_does_not() -> None:
    none = (0.0,) * 12
    assert ask(ring(6.0), support=none).state == "unsupported"
    held = ask(ring(6.0, sutured=(3.0, 9.0)), support=none)
    assert held.state == "held"
    assert held.balance_mn <= BALANCE_LIMIT_MN
    assert held.pieces[0].suture_mn[0] == pytest.approx(held.pieces[0].suture_mn[1], rel=1e-4)


def test_a_segment_holds_the_weak_area() -> None:
    support = (0.0, 0.0, 0.0, *(1.0,) * 8, 0.0)  # 11 to 2
    part = segment(arc_deg=120, clock=12.5, free_diameter_mm=13.0, spring_mn_per_mm=2.0)
    assert part.length_mm == pytest.approx(np.pi * 13 / 3)
    alone = plain.rest(
        bag=Bag(support, HIGH, "empty"), constants=SETTING.bag, ring_constants=SETTING.rings, stations=72
    )
    found = ask(part, support=support)
    assert found.state == "held"
    assert alone.state != "held" or found.bag.displacement_mm < alone.displacement_mm
    assert found.pieces[0].suture_mn[0] > 0


def test_hooks_and_pulls_act_beside_a_ring() -> None:
    hook = Hold(12.0, 20.0, 1.5, 0.2, 0.0)
    plainly = ask(ring(6.0), support=THREE_LOST)
    hooked = ask(ring(6.0), support=THREE_LOST, holds=(hook,))
    assert hooked.bag.displacement_mm < plainly.bag.displacement_mm
    assert hooked.bag.hold_mn[0] > 0
    assert hooked.balance_mn <= BALANCE_LIMIT_MN


def test_most_of_the_zonule_lost_is_a_state_not_a_number() -> None:
    support = (0.0,) * 4 + (1.0,) * 3 + (0.0,) * 5
    assert ask(ring(3.0), support=support).state in ("collapsed", "escaped", "slid")


def test_a_sweep_of_random_eyes_always_ends() -> None:
    draw = np.random.default_rng(7)
    missed, count = 0, 60
    for _ in range(count):
        support = draw.uniform(0, 1, 12)
        support[(draw.integers(0, 12) + np.arange(draw.integers(0, 4))) % 12] = 0
        springs = ZonuleParameters(5.0, 1.5, 0.2, float(draw.uniform(10, 90)), 0.1)
        gap = float(draw.integers(1, 97)) / 8
        found = ask(
            ring(gap, float(draw.uniform(SOFT, STIFF))),
            support=tuple(support),
            springs=springs,
            friction=float(draw.uniform(0.02, 0.3)),
            stations=48,
        )
        assert np.isfinite(found.bag.load_mn).all()
        missed += not found.bag.converged
    assert missed == 0  # in a wider sweep (``benchmarks.ring``) few of many thousand eyes


@pytest.mark.parametrize(("eye", "state", "carried"), [(535, "held", 0.88), (1849, "collapsed", 0.0)])
def test_where_the_energy_leads_to_no_rest_the_forces_do(eye: int, state: str, carried: float) -> None:
    """Two eyes of the sweep with friction that turns at every step: the first lies firm; in the other the ring draws the
    bag off until no fibre pulls any more, so that it may lie anywhere: a state, not a failure of the search."""
    asked = random_eye(np.random.default_rng([SEED, eye]), 48)
    found = rest(**asked)
    assert (found.state, found.bag.converged, found.smoothed) == (state, True, False)
    assert found.balance_mn < BALANCE_LIMIT_MN
    at_rest = asked["bag"].springs.resting_load_mn * sum(asked["bag"].support)
    assert sum(found.bag.load_mn) / at_rest == pytest.approx(carried, abs=0.01)
