"""Pulling on a bag in which an open ring already lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from forestay.mechanics.bag_model import Bag, Load
from forestay.mechanics.open_ring_bag import rest
from forestay.mechanics.open_ring_model import OpenRingState
from forestay.mechanics.open_ring_pull import RingedBag, ringed
from tests.mechanics.test_open_ring_bag import HEALTHY, LOW, SETTING, THREE_LOST, ring

UNEVEN = (0.0, 0.4, 1.0, 0.8, 0.9, 1.0, 0.6, 0.7, 1.0, 0.9, 0.8, 0.0)
QUICK = replace(SETTING, stations=48)
RADIAL, ALONG = Load("radial", 2.0, 0.7), Load("tangential", 4.5, 0.7, clockwise=False)


def _ringed(support: tuple[float, ...], gap: float, friction: float = 0.1) -> RingedBag:
    return ringed(bag=Bag(support, LOW, "empty"), piece=ring(gap, 1.9), setting=replace(QUICK, friction=friction))


def _numbers(state: OpenRingState) -> tuple[object, ...]:
    return state.state, state.bag.y_mm, state.bag.peak_stretch_mm, abs(state.bag.x_mm)


def test_without_a_pull_it_is_the_rest_of_bag_and_ring() -> None:
    alone = _ringed(UNEVEN, 7.5).alone
    known = rest(bag=Bag(UNEVEN, LOW, "empty"), pieces=(ring(7.5, 1.9),), setting=QUICK)
    assert _numbers(alone) == _numbers(known)


@pytest.mark.parametrize("load", [RADIAL, ALONG])
def test_forces_balance_and_a_ring_that_sticks_hardly_knows_which_came_first(load: Load) -> None:
    """The pull after the ring against ring and pull at once: a micrometre apart, where friction holds the ring. (Without
    friction a ring can turn to more than one least energy.)"""
    found = _ringed(THREE_LOST, 6.0).under(load)
    at_once = rest(bag=Bag(THREE_LOST, LOW, "empty", load=load), pieces=(ring(6.0, 1.9),), setting=QUICK)
    assert found.state == at_once.state == "held"
    assert found.balance_mn < 1e-6
    assert found.bag.peak_stretch_mm == pytest.approx(at_once.bag.peak_stretch_mm, abs=1e-3)
    assert found.bag.x_mm == pytest.approx(at_once.bag.x_mm, abs=1e-3)


@pytest.mark.parametrize(("support", "gap"), [(UNEVEN, 7.5), (HEALTHY, 12.0), (HEALTHY, 3.0)])
def test_the_other_eye_answers_the_same_to_the_last_bit(support: tuple[float, ...], gap: float) -> None:
    bag, piece = Bag(support, LOW, "empty"), ring(gap, 1.9)
    one = ringed(bag=bag, piece=piece, setting=QUICK)
    other = ringed(bag=bag.mirrored(), piece=piece.mirrored(), setting=QUICK)
    for load in (RADIAL, ALONG, Load("radial", 6.0, 0.9, inward=False)):
        a, b = one.under(load), other.under(load.mirrored())
        assert a.bag.load_mn == b.mirrored().bag.load_mn
        assert (a.bag.x_mm, a.bag.y_mm) == (-b.bag.x_mm, b.bag.y_mm)


def test_nothing_that_holds_stays_nothing_under_a_pull() -> None:
    found = _ringed((0.0,) * 12, 12.0)
    assert found.alone.state == found.under(RADIAL).state == "unsupported"
    assert np.isfinite(found.alone.bag.load_mn).all()


@pytest.mark.parametrize(
    ("support", "gap"),
    [(UNEVEN, 7.5), (HEALTHY, 12.0), (THREE_LOST, 6.0), ((0.0,) * 12, 12.0)],
)
def test_the_peak_alone_is_that_of_the_whole_answer(support: tuple[float, ...], gap: float) -> None:
    bag = _ringed(support, gap)
    for load in (RADIAL, ALONG):
        whole = bag.under(load)
        peak = bag.peak_under(load)
        assert (peak.state, peak.stretch_mm) == (whole.state, whole.bag.peak_stretch_mm)
        assert peak.load_mn == pytest.approx(max(whole.bag.load_mn), rel=1e-12)
