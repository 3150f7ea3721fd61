"""The net of springs against the laws of each loop, and its solver by segments against a general dense solver."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.mechanics import fast
from forestay.mechanics.bag_chain import chain_of
from forestay.mechanics.bag_model import Bag, Load
from forestay.mechanics.banded import NotPositiveDefiniteError
from forestay.mechanics.loop import Energy, LoopState, minimise
from forestay.mechanics.loop_assembly import Assembly
from forestay.mechanics.net import Net
from forestay.mechanics.network import network_of
from forestay.mechanics.rim import loops_of
from forestay.mechanics.segments import Pattern, Segments, pattern_of
from forestay.mechanics.two_loop import TwoLoopAssembly
from tests.mechanics.rim_cases import CONSTANTS, RINGS, SHEETS, SOFT, bag, hooks, lost

TURNED = Load("torque", 12.0, 1.0)
BAGS = {
    "one loop": bag(lost(0, 1), rim=None),
    "one loop, ring, sheets, turned": bag(lost(0, 1), rim=None, ring=SOFT, sheets=SHEETS, load=TURNED),
    "one loop, hooks, bed": bag(lost(0, 1), rim=None, holds=hooks(3.0, at="equator"), bed_mn_per_mm=2.0),
    "two loops": bag(lost(0, 1)),
    "two loops, hooks, sheets": bag((1.0, 0.4, 0.0) * 4, sheets=SHEETS, holds=hooks(3.0, 8.0, at="rim")),
    "two loops, all": bag(
        lost(4), ring=SOFT, sheets=SHEETS, load=TURNED, holds=hooks(2.0, at="rim"), bed_mn_per_mm=2.0
    ),
}


def model_of(one: Bag, stations: int) -> tuple[Energy, np.ndarray]:
    """The model whose laws are written out loop by loop, and its start."""
    if one.rim is None:
        chain, start = chain_of(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations)
        return Assembly(chain), start
    loops, start = loops_of(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations)
    return TwoLoopAssembly(loops), start


def net_of(model: Energy, start: np.ndarray) -> Net:
    network = network_of(model)
    assert network is not None
    return Net(network, stations=start.shape[1], rows=start.shape[0])


@pytest.mark.parametrize("name", BAGS)
@pytest.mark.parametrize("stations", [24, 144])
def test_the_net_has_the_energy_forces_and_stiffness_of_the_loops(name: str, stations: int) -> None:
    model, start = model_of(BAGS[name], stations)
    net = net_of(model, start)
    draw = np.random.default_rng(5)
    at, right = start + 0.1 * draw.normal(size=start.shape), draw.normal(size=start.shape)
    assert net.energy(at) == pytest.approx(model.energy(at), rel=1e-13)
    (force, stiffness), (expected, blocks) = net.derivatives(at), model.derivatives(at)
    assert force == pytest.approx(expected, rel=1e-12, abs=1e-13 * np.abs(expected).max())
    assert stiffness.stiffest == pytest.approx(blocks.stiffest, rel=1e-13)
    shift = 2 * blocks.stiffest  # far from rest the stiffness is not positive by itself
    found, solved = stiffness.solve(right, shift), blocks.solve(right, shift)
    assert found == pytest.approx(solved, rel=1e-11, abs=1e-13 * np.abs(solved).max())


def test_derivatives_hold_at_any_place_whether_its_energy_was_asked_for_or_not() -> None:
    model, start = model_of(BAGS["two loops"], 24)
    net = net_of(model, start)
    away = start + 0.1
    net.energy(away)
    assert net.derivatives(start)[0] == pytest.approx(model.derivatives(start)[0], abs=1e-12)


@pytest.mark.parametrize("name", ["one loop", "two loops, hooks, sheets"])
def test_both_ways_come_to_the_same_rest(name: str) -> None:
    model, start = model_of(BAGS[name], 72)
    plain = minimise(model, start_mm=start, force_scale_mn=2.12)
    found: LoopState = fast.minimise(model, start_mm=start, force_scale_mn=2.12)
    assert (found.converged, found.iterations) == (True, plain.iterations)
    assert found.at_mm == pytest.approx(plain.at_mm, abs=1e-9)


# ---------------------------------------------------------------- segments


def dense(pattern: Pattern, values: np.ndarray) -> np.ndarray:
    """The whole matrix that the pattern keeps."""
    every = np.arange(pattern.segment.size)
    row, column = (one.ravel() for one in np.meshgrid(every, every, indexing="ij"))
    near = near_enough(pattern, row, column)
    matrix = np.zeros((every.size, every.size))
    kept = near & (pattern.places(row, column) < pattern.size - 1)
    matrix[row[kept], column[kept]] = values[pattern.places(row[kept], column[kept])]
    mirrored = near & ~kept
    matrix[row[mirrored], column[mirrored]] = matrix[column[mirrored], row[mirrored]]
    return matrix


def near_enough(pattern: Pattern, row: np.ndarray, column: np.ndarray) -> np.ndarray:
    """Whether two unknowns lie in one segment, or in a segment and the separator after it."""
    count = pattern.sizes[0]
    ahead = (pattern.segment[column] - pattern.segment[row]) % count
    aside = (ahead == 1) & ~pattern.separates[row] & pattern.separates[column]
    back = (ahead == count - 1) & pattern.separates[row] & ~pattern.separates[column]
    return np.asarray((ahead == 0) | aside | back)


def filled(pattern: Pattern, seed: int) -> np.ndarray:
    """Values of a symmetric positive definite matrix (each diagonal term outweighs its row)."""
    draw = np.random.default_rng(seed)
    count, inner, outer = pattern.sizes
    within, apart = draw.normal(size=(count, inner, inner)), draw.normal(size=(count, outer, outer))
    aside = draw.normal(size=(count, inner, 2 * outer))
    parts = (within + within.swapaxes(1, 2), aside, apart + apart.swapaxes(1, 2), np.zeros(1))
    values = np.concatenate([part.ravel() for part in parts])
    values[pattern.diagonal] = 0.0
    values[pattern.diagonal] = np.abs(dense(pattern, values)).sum(axis=1) + 1
    return values


@settings(deadline=None, derandomize=True, max_examples=12)
@given(
    stations=st.sampled_from([24, 48, 72]), rows=st.sampled_from([2, 4]), bends=st.booleans(),
    seed=st.integers(0, 10**6),
)  # fmt: skip
def test_solution_equals_scipys_cholesky(stations: int, rows: int, bends: bool, seed: int) -> None:
    # reference: scipy.linalg.solve(assume_a="pos") on the full matrix
    pattern = pattern_of(stations, rows, bends)
    values = filled(pattern, seed)
    right = np.random.default_rng(seed).normal(size=(rows, stations))
    matrix = dense(pattern, values) + 0.5 * np.eye(right.size)
    expected = scipy.linalg.solve(matrix, right.ravel(), assume_a="pos")
    found = Segments(pattern, values).solve(right, 0.5)
    assert found.ravel() == pytest.approx(expected, rel=1e-9, abs=1e-13)


@pytest.mark.parametrize("where", ["inside", "between"])
def test_an_indefinite_matrix_is_refused(where: str) -> None:
    pattern = pattern_of(72, 4, False)
    values = filled(pattern, 3)
    unknown = getattr(pattern, where)[2, 1]
    values[pattern.diagonal[unknown]] *= -1.0
    with pytest.raises(NotPositiveDefiniteError):
        Segments(pattern, values).solve(np.ones((4, 72)), 0.0)


def test_every_station_of_a_bending_loop_reaches_the_one_after_the_next() -> None:
    # a term between two separators, or between two segments, would have no place
    for stations in (24, 48, 72, 144, 288):
        pattern = pattern_of(stations, 4, True)
        here = np.arange(stations)
        for reach in (1, 2):
            there = (here + reach) % stations
            both = near_enough(pattern, here, there) | near_enough(pattern, there, here)
            assert both.all()
