"""A ring as a sleeve: its stiffness, its closed size, and where it lies."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.evidence import default_evidence
from forestay.mechanics.loop import station_clocks
from forestay.mechanics.ring_loop import (
    Ring,
    RingConstants,
    bending_stiffness_mn_mm2,
    closed_diameter_mm,
    layers,
    overlap_share,
)


@pytest.fixture(scope="module")
def constants() -> RingConstants:
    return default_evidence().reader().constants(RingConstants)


@pytest.mark.parametrize(("spring", "bending"), [(0.8162, 213.3), (4.5501, 1189.1)])
def test_bending_stiffness_of_the_published_rings(constants: RingConstants, spring: float, bending: float) -> None:
    # EI = pi k R^3 / 2, R 5.5: printed 0.2133 and 1.1891 N mm2 for the softest and stiffest of 14 rings
    found = bending_stiffness_mn_mm2(spring_mn_per_mm=spring, test_diameter_mm=constants.test_diameter_mm)
    assert found == pytest.approx(bending, abs=0.06)


@pytest.mark.parametrize(("free", "closed"), [(12.3, 10.0), (13.0, 11.0), (14.5, 12.0), (13.75, 11.5), (12.0, 9.7)])
def test_closed_diameter(constants: RingConstants, free: float, closed: float) -> None:
    # the first three: published pairs (review of 2006); then half-way between two, and below the smallest
    assert closed_diameter_mm(free_diameter_mm=free, constants=constants) == pytest.approx(closed, abs=1e-12)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(free=st.floats(6, 20), more=st.floats(1e-6, 2))
def test_closed_diameter_grows_with_the_free_one(free: float, more: float) -> None:
    constants = default_evidence().reader().constants(RingConstants)
    smaller = closed_diameter_mm(free_diameter_mm=free, constants=constants)
    assert smaller < closed_diameter_mm(free_diameter_mm=free + more, constants=constants)


@settings(deadline=None, derandomize=True, max_examples=80)
@given(centre=st.floats(0.001, 12), arc=st.floats(0, 12))
def test_cells_add_up_to_the_arc(centre: float, arc: float) -> None:
    share = overlap_share(clock=station_clocks(72), width_hours=12 / 72, centre_clock=centre, arc_hours=arc)
    assert share.sum() * 12 / 72 == pytest.approx(arc, abs=1e-9)
    assert share.min() >= -1e-12
    assert share.max() <= 1 + 1e-12


def test_gap_and_overlap_lie_at_their_clock_hour() -> None:
    clock = station_clocks(72)
    short = layers(clock=clock, width_hours=12 / 72, ring=Ring(12.3, 1.0, 6.0), covered_share=11 / 12)
    assert short.sum() == pytest.approx(66)  # one clock hour of 72 stations is bare
    assert np.flatnonzero(short < 1e-9).tolist() == [33, 34, 35, 36, 37, 38]
    long = layers(clock=clock, width_hours=12 / 72, ring=Ring(14.5, 1.0, 12.0), covered_share=13 / 12)
    assert np.flatnonzero(long > 2 - 1e-9).tolist() == [0, 1, 2, 69, 70, 71]
    assert (
        layers(clock=clock, width_hours=12 / 72, ring=Ring(13.0, 1.0, None), covered_share=1.1).tolist() == [1.0] * 72
    )
