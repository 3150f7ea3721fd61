"""Dead loads beyond what a bag bears: the limit itself, from the energy, and as a share of what was asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from forestay.evidence import default_evidence
from forestay.mechanics import disc, loop
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_chain import chain_of
from forestay.mechanics.bag_draws import rest_draws
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.disc_limit import limit_torque_mn_mm
from forestay.mechanics.limit_load import borne_share
from forestay.mechanics.loop_assembly import Assembly
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.zonule import Floats, ZonuleParameters

READER = default_evidence().reader()
CONSTANTS, RINGS = READER.constants(BagConstants), READER.constants(RingConstants)
SPRINGS = ZonuleParameters(5.0, 1.5, 0.2, 10.6, 0.1)


def _limit(support: Floats, load: Floats, *, clockwise: bool) -> Floats:
    return limit_torque_mn_mm(
        support=support, load_x_mn=load[0], load_y_mn=load[1], clockwise=clockwise, parameters=SPRINGS
    )


def test_an_even_zonule_bears_what_the_closed_form_says() -> None:
    """A pure turn by f of n equal fibres: M = K (1 - L / d) R C sin f, d^2 = R^2 + C^2 - 2 R C cos f; its greatest
    value on a fine grid."""
    turn = np.linspace(0, np.pi, 200_001)
    ring, radius, free = 6.5, 5.0, 1.3
    length = np.sqrt(radius**2 + ring**2 - 2 * radius * ring * np.cos(turn))
    moment = 10.6 * np.maximum(1 - free / length, 0) * radius * ring * np.sin(turn)
    for sense in (True, False):
        found = _limit(np.ones(12), np.zeros(3), clockwise=sense)
        assert float(found) == pytest.approx(moment.max(), rel=1e-4)


def test_every_unsolved_disc_lies_beyond_its_limit_and_every_solved_one_below() -> None:
    """The sweep's eyes with the strongest turns: the limit comes from the energy at imposed turns, without the solver of
    the dead load."""
    draw = np.random.default_rng(11)
    count = 1500
    support = draw.uniform(0, 1, (12, count)) * (draw.uniform(size=(12, count)) > draw.uniform(0, 0.6, count))
    load = draw.normal(size=(3, count)) * np.array([[3.0], [3.0], [15.0]])
    found = disc.equilibrium(
        support=support, load_x_mn=load[0], load_y_mn=load[1], torque_mn_mm=load[2], parameters=SPRINGS
    )
    unsolved = np.flatnonzero(~found.converged & (support.sum(axis=0) > 0))
    assert np.array_equal(np.flatnonzero(np.asarray(found.state) == "overloaded"), unsolved)
    solved = np.flatnonzero(found.converged & (np.abs(load[2]) > 25))
    assert unsolved.size >= 10
    assert solved.size >= 10
    for which, beyond in ((unsolved[:10], True), (solved[:10], False)):
        for sense in (True, False):
            some = which[(load[2, which] < 0) == sense]
            limit = _limit(support[:, some], load[:, some], clockwise=sense)
            assert ((np.abs(load[2, some]) > limit) == beyond).all()


def test_the_limit_is_the_same_in_the_other_eye() -> None:
    support = np.array([0.0, 0.2, 1.0, 0.8, 0.9, 1.0, 0.6, 0.7, 1.0, 0.9, 0.8, 0.0])
    load = np.array([0.7, -0.3, 0.0])
    other = support[[0, *range(11, 0, -1)]]
    assert _limit(support, load, clockwise=True) == _limit(other, load * [-1, 1, 1], clockwise=False)


def _share(bag: Bag) -> float | None:
    return borne_share(bag=bag, constants=CONSTANTS, ring_constants=RINGS, stations=72)


def test_the_share_of_a_turn_that_a_lens_bears_is_its_limit() -> None:
    half = (1.0, 0.5, 0.0, 0.0, 0.0, 0.4, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0)
    limit = float(_limit(np.array(half), np.zeros(3), clockwise=True))
    bag = Bag(half, SPRINGS, "lens", load=Load("torque", 12.0, 3 * limit / 5.0))
    assert _share(bag) == pytest.approx(1 / 3, abs=1 / 64**2)
    found = rest(bag=bag, constants=CONSTANTS, ring_constants=RINGS)
    other = rest(bag=bag.mirrored(), constants=CONSTANTS, ring_constants=RINGS)
    assert found.state == other.state == "overloaded"
    assert _share(replace(bag, load=Load("torque", 12.0, 0.9 * limit / 5.0))) == 1.0


def test_a_turn_beyond_the_limit_is_named_by_every_way_to_ask() -> None:
    """One lens, many draws and one of them alone; an empty bag, its mirror image and draws of it."""
    half = (1.0, 0.5, 0.0, 0.0, 0.0, 0.4, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0)
    limit = float(_limit(np.array(half), np.zeros(3), clockwise=True))
    turns = np.array([0.0, 0.9, 1.1, 1.1, 0.0]) * -limit
    support = np.array([half, half, half, (0.0,) * 12, (0.0,) * 12]).T
    many = disc.equilibrium(support=support, load_x_mn=0.0, load_y_mn=0.0, torque_mn_mm=turns, parameters=SPRINGS)
    assert list(many.state) == ["held", "held", "overloaded", "unsupported", "unsupported"]
    for n, word in enumerate(many.state):
        one = disc.equilibrium(
            support=support[:, n], load_x_mn=0.0, load_y_mn=0.0, torque_mn_mm=turns[n], parameters=SPRINGS
        )
        assert one.state == word
    most = (1.0, 0.5, *(1.0,) * 10)
    bag = Bag(most, SPRINGS, "empty", load=Load("torque", 12.0, 60.0))
    ask = {"constants": CONSTANTS, "ring_constants": RINGS, "stations": 24}
    states = [rest(bag=one, **ask).state for one in (bag, bag.mirrored())]  # type: ignore[arg-type]
    assert states == ["overloaded", "overloaded"]
    support = np.array([most, most, (0.0,) * 12]).T
    draws = rest_draws(bag=bag, support=support, stiffness_scale=np.array([10.0, 1.0, 1.0]), **ask)  # type: ignore[arg-type]
    assert list(draws.state) == ["held", "overloaded", "unsupported"]
    assert draws.failed == 0


def test_a_search_that_stands_still_ends_long_before_its_limit_of_steps() -> None:
    ring, load = Ring(13.0, 0.8162, None), Load("torque", 12.0, 90.0)
    bag = Bag((1.0, 0.5, *(1.0,) * 10), SPRINGS, "empty", ring=ring, load=load)
    found = rest(bag=bag, constants=CONSTANTS, ring_constants=RINGS, stations=72)
    assert (found.state, found.converged) == ("overloaded", False)
    assert found.iterations < loop.MAX_ITERATIONS / 2


def test_without_load_or_hold_there_is_no_share() -> None:
    assert _share(Bag((1.0,) * 12, SPRINGS, "lens")) is None
    assert _share(Bag((0.0,) * 12, SPRINGS, "lens", load=Load("torque", 12.0, 1.0))) is None


def test_at_its_limit_the_empty_bag_no_longer_resists() -> None:
    """A fold: the least stiffness of the bag at rest falls as the root of the distance to the limit. From two loads
    below it, a straight line through its square meets zero at the limit that halving found, within 2 %."""
    support = (1.0, 1.0, 0.9, 0.8, 1.0, 1.0, 1.0, 0.9, 1.0, 1.0, 0.8, 1.0)
    bag = Bag(support, SPRINGS, "empty", load=Load("torque", 12.0, 80.0))
    share = _share(bag)
    assert share is not None
    assert 0 < share < 1
    squares, loads = [], []
    for part in (0.98, 0.995):
        one = replace(bag, load=Load("torque", 12.0, 80.0 * share * part))
        found = rest(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=72)
        assert found.state == "held"
        squares.append(_least_stiffness(one, found.outline_mm) ** 2)
        loads.append(share * part)
    at_zero = loads[1] + squares[1] * (loads[1] - loads[0]) / (squares[0] - squares[1])
    assert at_zero == pytest.approx(share, rel=0.02)


def _least_stiffness(bag: Bag, at: Floats) -> float:
    chain, _ = chain_of(bag=bag, constants=CONSTANTS, ring_constants=RINGS, stations=72)
    blocks = Assembly(chain).derivatives(at)[1]
    whole = np.zeros((144, 144))
    for n in range(72):
        for ahead, part in enumerate((blocks.here, blocks.next1, blocks.next2)):
            m = (n + ahead) % 72
            whole[2 * n : 2 * n + 2, 2 * m : 2 * m + 2] += part[..., n]
            if ahead:
                whole[2 * m : 2 * m + 2, 2 * n : 2 * n + 2] += part[..., n].T
    return float(np.linalg.eigvalsh(whole)[0])
