"""Relaxing cuts: what they open, where they go, and the mirror."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.frame import hour_distance, mirror_by_hour, mirror_hour
from forestay.mechanics.relaxing_cuts import (
    RelaxingCutConstants,
    behind,
    cut_needed_mm,
    gained_girth_mm,
    longest_cut_mm,
    place_cuts,
)

CONSTANTS = default_evidence().reader().constants(RelaxingCutConstants)
SOUND = (1.0,) * 12
steady = settings(deadline=None, derandomize=True, max_examples=80)


def placed(cuts: int, support: tuple[float, ...], tunnel: float) -> tuple[float, ...]:
    """Places under the shipped evidence."""
    return place_cuts(cuts=cuts, support=support, tunnel_clock=tunnel, constants=CONSTANTS)


def test_each_cut_adds_both_its_lips() -> None:
    """By hand: a 5 mm opening with two 1 mm cuts has 5 pi + 4 mm of edge, as a round opening of 6.27 mm."""
    assert gained_girth_mm(cuts=2, cut_mm=1.0) == 4.0
    assert (5 * np.pi + gained_girth_mm(cuts=2, cut_mm=1.0)) / np.pi == pytest.approx(6.273, abs=1e-3)
    assert cut_needed_mm(missing_girth_mm=4.0, cuts=2) == 1.0
    assert cut_needed_mm(missing_girth_mm=-1.0, cuts=2) == 0.0


def test_a_cut_ends_before_the_insertion_of_the_zonule() -> None:
    """1.42 mm in front of the equator (mechanics evidence, section 3): (10.37 - 5.5) / 2 - 1.42."""
    assert longest_cut_mm(capsulorhexis_mm=5.5, bag_diameter_mm=10.37, constants=CONSTANTS) == pytest.approx(1.015)
    assert longest_cut_mm(capsulorhexis_mm=9.0, bag_diameter_mm=10.0, constants=CONSTANTS) == 0


def test_two_cuts_stand_to_both_sides_of_the_tunnel() -> None:
    """Taught for an upper tunnel: 10 and 2 o'clock; a temporal tunnel of a right eye turns them by a quarter."""
    assert placed(2, SOUND, 12) == (2.0, 10.0)
    assert placed(2, SOUND, 9) == (7.0, 11.0)
    assert placed(1, SOUND, 12) == (12.0,)


def test_a_cut_keeps_off_the_gap() -> None:
    gap = (1.0, 0.5, 0.0, 0.0, 0.5, *(1.0,) * 7)  # 2 and 3 o'clock lost
    clocks = placed(2, gap, 12)
    assert clocks == (10.0, 12.0)
    assert all(behind(clock, gap, 1.0) > 0.5 for clock in clocks)


@steady
@given(
    support=st.tuples(*[st.floats(0, 1)] * 12),
    tunnel=st.floats(0.001, 12),
    cuts=st.integers(1, 3),
)
def test_it_mirrors_exactly_and_keeps_cuts_apart(support: tuple[float, ...], tunnel: float, cuts: int) -> None:
    tunnel = round(tunnel * 1024) / 1024 or 12.0
    clocks = placed(cuts, support, tunnel)
    image = placed(cuts, mirror_by_hour(support), mirror_hour(tunnel))
    assert len(clocks) == cuts
    assert all(0 < clock <= 12 for clock in clocks)
    if (mirror_by_hour(support), mirror_hour(tunnel)) != (support, tunnel):
        assert image == tuple(sorted(mirror_hour(clock) for clock in clocks))
    for number, clock in enumerate(clocks):
        assert all(hour_distance(clock, other) >= 2 for other in clocks[number + 1 :])


@steady
@given(tunnel=st.sampled_from([12.0, 1.0, 3.5, 9.0]), turn=st.integers(1, 11), cuts=st.integers(1, 3))
def test_it_turns_with_the_eye(tunnel: float, turn: int, cuts: int) -> None:
    turned = {(clock + turn) % 12 for clock in placed(cuts, SOUND, tunnel)}
    assert turned == {clock % 12 for clock in placed(cuts, SOUND, (tunnel + turn) % 12 or 12.0)}


def test_support_behind_is_the_mean_around() -> None:
    one_hour = (0.0, *(1.0,) * 11)
    assert behind(12, one_hour, 1.0) == pytest.approx((1 + 0.5 + 0 + 0.5 + 1) / 5)
    assert behind(11.5, one_hour, 1.0) == pytest.approx((1 + 1 + 0.5 + 0 + 0.5) / 5)


@pytest.mark.parametrize(("cuts", "field"), [(0, "cuts"), (4, "cuts")])
def test_a_number_of_cuts_that_cannot_be_is_refused(cuts: int, field: str) -> None:
    with pytest.raises(InvalidInput) as told:
        placed(cuts, SOUND, 12)
    assert told.value.field == field
