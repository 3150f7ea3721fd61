"""Two loops with the flap between: derivatives, balance, an independent minimiser, hooks at the rim, refinement."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from forestay.frame import mirror_by_hour, mirror_hour
from forestay.mechanics import loop
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_model import Bag, BagState, Load
from forestay.mechanics.banded import dense_matrix
from forestay.mechanics.rim import loops_of
from forestay.mechanics.two_loop import TwoLoopAssembly, TwoLoops
from tests.mechanics.rim_cases import CONSTANTS, HIGH, LOW, RIM, RINGS, SHEETS, SOFT, STIFF, bag, hooks, lost


def settle(one: Bag, stations: int = 72) -> BagState:
    return rest(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations)


def net(one: Bag, stations: int) -> tuple[TwoLoops, np.ndarray]:
    return loops_of(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations)


# ---------------------------------------------------------------- derivatives and rest


@pytest.mark.parametrize("ring", [None, SOFT])
@pytest.mark.parametrize("sheets", [(), SHEETS])
def test_gradient_and_stiffness_equal_central_differences(ring: object, sheets: tuple[object, ...]) -> None:
    # accepted: relative error 1e-8 of the gradient, 1e-7 of the stiffness
    one = bag(
        (1.0, 0.4, 0.0) * 4, ring=ring, sheets=sheets, bed_mn_per_mm=2.0, load=Load("torque", 12.0, 1.0),
        holds=hooks(3.0, at="rim"),
    )  # fmt: skip
    loops, start = net(one, 24)
    assembly = TwoLoopAssembly(loops)
    at = start + 0.05 * np.random.default_rng(1).normal(size=start.shape)
    gradient, blocks = assembly.derivatives(at)
    matrix = dense_matrix(*blocks.blocks(0.0))
    slope, curve, step = np.zeros_like(at), np.zeros_like(matrix), 1e-5
    for station in range(24):
        for row in range(4):
            up, down = at.copy(), at.copy()
            up[row, station] += step
            down[row, station] -= step
            slope[row, station] = (assembly.energy(up) - assembly.energy(down)) / (2 * step)
            change = (assembly.derivatives(up)[0] - assembly.derivatives(down)[0]) / (2 * step)
            curve[:, 4 * station + row] = change.T.ravel()
    assert np.abs(slope - gradient).max() <= 1e-8 * np.abs(gradient).max()
    assert np.abs(curve - matrix).max() <= 1e-7 * np.abs(matrix).max()


@pytest.mark.parametrize("sheets", [(), SHEETS])
@pytest.mark.parametrize("stiffness", [LOW, HIGH])
def test_a_healthy_bag_is_in_balance_as_it_is_drawn(sheets: tuple[object, ...], stiffness: float) -> None:
    one = bag(stiffness=stiffness, sheets=sheets)
    found = settle(one)
    assert (found.state, found.iterations) == ("held", 0)
    assert np.array(found.load_mn) == pytest.approx(np.full(12, one.springs.resting_load_mn), rel=1e-9)
    assert found.margin_mm is not None
    assert np.hypot(*found.margin_mm) == pytest.approx(np.full(72, RIM.radius_mm))


def test_pulls_balance_the_load() -> None:
    # accepted: 1e-3 mN
    one = bag(lost(0, 1), HIGH, load=Load("radial", 6.0, 2.0), holds=hooks(2.0, at="rim"))
    found = settle(one)
    angle = np.pi / 2 - np.pi * (2 * np.arange(72) + 1) / 72
    hour = np.mod(np.floor((2 * np.arange(72) + 1) / 12 + 0.5).astype(int), 12)
    reach = 6.5 * np.stack([np.cos(angle), np.sin(angle)]) - found.outline_mm
    length = np.hypot(*reach)
    pull = np.array(one.support)[hour] * HIGH / 72 * np.maximum(length - 1.3, 0)
    net_pull = (pull * reach / length).sum(axis=1)
    assert found.margin_mm is not None
    at_hook, out = found.margin_mm[:, 11:13], np.array([np.sin(np.pi / 3), np.cos(np.pi / 3)])  # the two beside 2
    where = np.arange(72)[11:13]
    anchors = (2.75 + 3.75) * np.stack([np.cos(angle[where]), np.sin(angle[where])])
    toward = anchors - at_hook
    hook = (10 * np.maximum(np.hypot(*toward) - 3.55, 0) * toward / np.hypot(*toward)).sum(axis=1)
    assert net_pull + hook + np.array([0.0, 2.0]) == pytest.approx((0, 0), abs=1e-6)
    assert hook @ out == pytest.approx(found.hold_mn[0], rel=1e-2)


# ---------------------------------------------------------------- an independent minimiser


def springs_of(one: Bag, stations: int) -> tuple[np.ndarray, list[tuple[int, int, float, float]], float]:
    """Nodes and capsule springs (node, node, stiffness, rest length), written out again from the description."""
    angle = np.pi / 2 - np.pi * (2 * np.arange(stations) + 1) / stations
    out = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    nodes = np.concatenate([5 * out, 2.75 * out])
    chord = 2 * np.sin(np.pi / stations)
    pull = float(one.springs.total_stiffness_mn_per_mm) * 0.2 / stations / chord
    strain = np.sqrt((1e-3) ** 2 + 2 * pull / 150 / 0.01) * 0.01 - 1e-5  # quadratic toe plus 1e-3 when slack
    assert strain < 0.01
    width, slant = np.pi * 7.75 / stations, float(np.hypot(*(nodes[0] - nodes[stations + 1])))
    made = []
    for s in range(stations):
        after = (s + 1) % stations
        made += [
            (s, after, 150.0, 5 * chord / (1 + strain)),
            (stations + s, stations + after, 40.0, 2.75 * chord),
            (s, stations + s, 15 * width, 2.25),
            (s, stations + after, 0.35 * 15 * width, slant),
            (after, stations + s, 0.35 * 15 * width, slant),
        ]
    return nodes, made, width


def test_a_general_minimiser_finds_the_same_rest() -> None:
    # scipy.optimize on an energy written again from scratch; accepted: 1e-5 mm
    stations, pull = 24, 1.0
    one = bag(lost(0, 1), load=Load("radial", 6.0, pull))
    nodes, capsule, width = springs_of(one, stations)
    first, second = np.array([c[:2] for c in capsule]).T
    stiffness, rest_length = np.array([c[2:] for c in capsule]).T
    hour = np.mod(np.floor((2 * np.arange(stations) + 1) / 4 + 0.5).astype(int), 12)
    fibre = np.array(one.support)[hour] * LOW / stations
    anchors = 1.3 * nodes[:stations]
    loaded = np.isin(np.arange(stations), (11, 12))  # both sides of 6, half of the pull each, upwards
    slack = np.where(np.arange(len(capsule)) % 5 == 0, 1e-3, 0.0)
    tie = 3e-4 * np.array([15 * width / 2.25, 40 / (2.75 * 2 * np.sin(np.pi / stations))])

    def energy(flat: np.ndarray) -> tuple[float, np.ndarray]:
        at = flat.reshape(-1, 2)
        gradient = np.zeros_like(at)
        along = at[second] - at[first]
        length = np.hypot(*along.T)
        strain = length / rest_length - 1
        inside, beyond = np.clip(strain, 0, 0.01), np.maximum(strain - 0.01, 0)
        tension = stiffness * (inside**2 / 0.02 + beyond + slack * strain)
        stored = inside**3 / 0.06 + beyond * (0.01 + beyond) / 2 + slack * strain**2 / 2
        total = float((stiffness * rest_length * stored).sum())
        force = (tension / length)[:, None] * along
        np.add.at(gradient, second, force)
        np.add.at(gradient, first, -force)
        reach = at[:stations] - anchors
        far = np.hypot(*reach.T)
        taut = np.maximum(far - 1.3, 0)
        total += 0.5 * float((fibre * taut**2).sum())
        gradient[:stations] += (fibre * taut / far)[:, None] * reach
        moved = at - nodes
        apart, along_rim = moved[stations:] - moved[:stations], np.roll(moved[stations:], -1, 0) - moved[stations:]
        total += 0.5 * float(tie[0] * (apart**2).sum() + tie[1] * (along_rim**2).sum())
        gradient[stations:] += tie[0] * apart + tie[1] * (np.roll(along_rim, 1, 0) - along_rim)
        gradient[:stations] -= tie[0] * apart
        total -= float(pull / 2 * at[:stations][loaded, 1].sum())
        gradient[:stations][loaded, 1] -= pull / 2
        return total, gradient.ravel()

    options = {"maxiter": 40000, "maxfun": 80000, "ftol": 1e-17, "gtol": 1e-9, "maxcor": 60}
    general = minimize(energy, nodes.ravel(), jac=True, method="L-BFGS-B", options=options)
    loops, start = net(one, stations)
    found = loop.minimise(TwoLoopAssembly(loops), start_mm=start, force_scale_mn=2.12)
    assert found.converged
    assert TwoLoopAssembly(loops).energy(found.at_mm) <= general.fun + 1e-9
    there = general.x.reshape(2, stations, 2)
    ours = np.stack([found.at_mm[:2].T, found.at_mm[2:].T])
    assert np.abs(ours - there).max() < 1e-5


# ---------------------------------------------------------------- hooks, ring, refinement


@pytest.mark.parametrize("stiffness", [LOW, HIGH])
def test_hooks_hold_at_the_rim_as_at_the_equator_and_load_the_zonule_less(stiffness: float) -> None:
    # tried before (four hours lost, three hooks of 20 mN/mm an hour apart): centre 0.63 -> 0.013 mm at the margin,
    # 0.044 at the equator; equator in the gap 3.27 -> 5.02 and 5.19 mm; peak stretch of the zonule 0.262 v 0.350 mm
    gap, clocks = lost(10, 11, 0, 1), (10.5, 11.5, 12.5)
    assert settle(bag(gap, stiffness)).state == "collapsed"
    rim, equator = (settle(bag(gap, stiffness, holds=hooks(*clocks, at=at))) for at in ("rim", "equator"))
    assert (rim.state, equator.state) == ("held", "held")
    in_gap = [float(np.hypot(*s.outline_mm).reshape(12, -1).mean(axis=1)[11]) for s in (rim, equator)]
    assert in_gap[0] < in_gap[1] < 5.3
    assert rim.peak_stretch_mm < equator.peak_stretch_mm
    if (
        stiffness == LOW
    ):  # the trial's own stiffness; eight times stiffer, rim and flap give and hooks there hold less well
        assert max(rim.displacement_mm, equator.displacement_mm) < 0.1
        assert in_gap[0] > 4.8
        assert rim.peak_stretch_mm == pytest.approx(0.262, abs=0.02)
        assert equator.peak_stretch_mm == pytest.approx(0.350, abs=0.02)


def test_the_same_hook_pulls_less_at_the_rim_because_rim_and_flap_give() -> None:
    rim, equator = (settle(bag(lost(0), holds=hooks(12.0, at=at))) for at in ("rim", "equator"))
    assert 0 < rim.hold_mn[0] < equator.hold_mn[0]
    small = replace(RIM, radius_mm=1.5)
    length = hooks(12.0, at="rim")[0].length_mm + 1.25
    far = settle(bag(lost(0), rim=small, holds=(replace(hooks(12.0, at="rim")[0], length_mm=length),)))
    assert far.hold_mn[0] != pytest.approx(rim.hold_mn[0], rel=0.05)


@pytest.mark.parametrize("stiffness", [LOW, HIGH])
def test_trend_of_hours_lost(stiffness: float) -> None:
    # bench with 12 load cells, words only: the bag moves away from the gap, tension beside it rises, a ring recentres
    free = [settle(bag(lost(*range(m)), stiffness)) for m in range(6)]
    ringed = [settle(bag(lost(*range(m)), stiffness, ring=SOFT)) for m in range(6)]
    assert [s.state for s in free] == ["held"] * 4 + ["collapsed"] * 2
    assert {s.state for s in ringed} == {"held"}
    assert all(a.displacement_mm < b.displacement_mm for a, b in pairwise(free[:4]))
    assert all(a.displacement_mm < b.displacement_mm for a, b in pairwise(ringed))
    for m in (2, 3):
        assert ringed[m].displacement_mm < 0.5 * free[m].displacement_mm
        assert min(free[m].peak_stretch_mm, ringed[m].peak_stretch_mm) > 0.2


@pytest.mark.parametrize("ring", [SOFT, STIFF])
def test_a_ring_hides_the_flap(ring: object) -> None:
    # with a ring one loop and two answer alike: any ring is all but rigid beside capsule and zonule
    for m in (2, 3):
        one, two = (settle(bag(lost(*range(m)), HIGH, ring=ring, rim=rim)) for rim in (None, RIM))
        assert two.displacement_mm == pytest.approx(one.displacement_mm, rel=0.03)


def test_refinement_with_a_ring_is_of_second_order() -> None:
    # published trial, two loops with ring, three hours lost, 36 to 576 stations: peak stretch within 0.05 % from 72 on
    moved = [settle(bag(lost(0, 1, 2), HIGH, ring=SOFT), n).displacement_mm for n in (72, 144, 288)]
    assert 2.5 < (moved[0] - moved[1]) / (moved[1] - moved[2]) < 6
    assert moved[0] == pytest.approx(moved[2], rel=3e-3)


def test_sheets_and_bed_steady_the_bag() -> None:
    plain, sheeted = settle(bag(lost(0, 1, 2))), settle(bag(lost(0, 1, 2), sheets=SHEETS))
    bedded = settle(bag(lost(0, 1, 2), sheets=SHEETS, bed_mn_per_mm=2.0))
    assert plain.state == sheeted.state == bedded.state == "held"
    assert bedded.displacement_mm < 0.7 * sheeted.displacement_mm
    assert sheeted.displacement_mm != pytest.approx(plain.displacement_mm, rel=1e-3)


def test_bending_stiffness_of_the_capsule_itself_changes_nothing() -> None:
    # E 2.7 MPa, 7 um thick, 1 mm wide: E w t^3 / 12 = 7.7e-5 mN mm2, a millionth of a ring's
    plain, bent = (settle(bag(lost(0, 1), rim=None, equator_bending_mn_mm2=b)) for b in (0.0, 7.7e-5))
    assert bent.displacement_mm == pytest.approx(plain.displacement_mm, rel=0.05)
    stiff = settle(bag(lost(0, 1), rim=None, equator_bending_mn_mm2=50.0))
    assert stiff.displacement_mm < 0.6 * plain.displacement_mm


# ---------------------------------------------------------------- mirror, robustness

hours = st.floats(0.001, 12)
holds = st.builds(lambda c, at, o: hooks(c, at=at, overpull_mm=o)[0], hours, st.sampled_from(["rim", "equator"]),
                  st.sampled_from([0.0, 0.2]))  # fmt: skip
pulls = st.builds(
    Load, st.sampled_from(["radial", "tangential"]), hours, st.floats(0.1, 2), st.booleans(), st.booleans(),
    st.sampled_from(["rim", "equator"]),
)  # fmt: skip
eyes = st.builds(
    bag,
    st.lists(st.sampled_from([0.0, 0.3, 0.7, 1.0, 1.0]), min_size=12, max_size=12).map(tuple),
    st.sampled_from([LOW, HIGH]),
    ring=st.none() | st.builds(lambda g: replace(SOFT, gap_clock=g), st.none() | hours),
    holds=st.lists(holds, max_size=2).map(tuple),
    load=st.none() | pulls,
    sheets=st.sampled_from([(), SHEETS]),
    bed_mn_per_mm=st.sampled_from([0.0, 1.5]),
)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(eyes)
def test_the_other_eye_answers_the_same_to_the_last_bit(one: Bag) -> None:
    ring, load = one.ring, one.load
    if ring is not None and ring.gap_clock is not None:
        ring = replace(ring, gap_clock=mirror_hour(ring.gap_clock))
    if load is not None:
        load = replace(load, clock=mirror_hour(load.clock), clockwise=not load.clockwise)
    other = replace(
        one,
        support=mirror_by_hour(one.support),
        ring=ring,
        load=load,
        holds=tuple(replace(h, clock=mirror_hour(h.clock)) for h in one.holds),
    )
    right, left = settle(one, 48), settle(other, 48)
    assert (left.state, left.x_mm, left.y_mm) == (right.state, -right.x_mm, right.y_mm)
    assert left.load_mn == mirror_by_hour(right.load_mn)
    assert sorted(left.hold_mn) == sorted(right.hold_mn)
    assert np.isfinite(right.outline_mm).all()
    assert np.isfinite([right.peak_stretch_mm, *right.load_mn, *right.hold_mn]).all()
    if right.margin_mm is not None and left.margin_mm is not None:
        assert np.array_equal(left.margin_mm[0], -right.margin_mm[0, ::-1])


@pytest.mark.parametrize("ring", [None, SOFT])
def test_turning_the_eye_by_hours_turns_the_answer(ring: object) -> None:
    one = bag(lost(0, 1), HIGH, ring=ring, sheets=SHEETS, load=Load("radial", 4.0, 0.5), holds=hooks(1.0, at="rim"))
    for turn in (3, 5):
        moved = replace(
            one,
            support=tuple(one.support[(h - turn) % 12] for h in range(12)),
            load=Load("radial", 4.0 + turn, 0.5),
            holds=hooks(1.0 + turn, at="rim"),
        )
        here, there = settle(one), settle(moved)
        assert there.displacement_mm == pytest.approx(here.displacement_mm, abs=1e-6)
        assert there.hold_mn == pytest.approx(here.hold_mn, abs=1e-6)
        assert [there.load_mn[(h + turn) % 12] for h in range(12)] == pytest.approx(here.load_mn, abs=1e-6)


def test_an_opening_as_wide_as_the_bag_still_answers() -> None:
    found = settle(bag(lost(0, 1), rim=replace(RIM, radius_mm=4.999)))
    assert np.isfinite(found.outline_mm).all()
