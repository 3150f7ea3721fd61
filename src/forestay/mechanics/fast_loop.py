"""The compiled counterpart of :func:`forestay.mechanics.loop.minimise`: the same steps, on one net of springs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics import loop
from forestay.mechanics.fast_band import factor, substitute
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import derivatives, energy, product, put
from forestay.mechanics.loop_assembly import Assembly, Chain, Hoop, Springs
from forestay.mechanics.two_loop import ROWS, STRIPS, TwoLoopAssembly, TwoLoops
from forestay.mechanics.zonule import HOUR_COUNT, Floats

MAX_ITERATIONS, HALVINGS = loop.MAX_ITERATIONS, loop.HALVINGS
RESIDUAL, ROUNDING, ENERGY_ROUNDING, ARMIJO = loop.RESIDUAL, loop.ROUNDING, loop.ENERGY_ROUNDING, loop.ARMIJO
STEP_CAP_MM = loop.STEP_CAP_MM
SHIFT_START, SHIFT_UP, SHIFT_DOWN, SHIFT_LEAST = loop.SHIFT_START, loop.SHIFT_UP, loop.SHIFT_DOWN, loop.SHIFT_LEAST
SHIFT_MOST = loop.SHIFT_MOST


@dataclass(frozen=True)
class Network:
    """One net as plain arrays, in the order that the kernels take them; see :mod:`forestay.mechanics.fast_net`."""

    axial: Floats
    firm: Floats
    ends: NDArray[np.int64]
    laws: Floats
    tie: Floats
    tie_at: NDArray[np.int64]
    fibre: Floats
    fibre_at: NDArray[np.int64]
    bend: Floats
    bend_at: NDArray[np.int64]
    load: Floats
    bed: Floats
    bed_at: Floats
    turn: float
    rest_angle: Floats


@lru_cache(maxsize=32)
def places(stations: int, rows: int) -> NDArray[np.int64]:
    """First unknown of each station: the ring folded flat (0, N-1, 1, N-2 ...), ``rows`` unknowns a station."""
    station = np.arange(stations)
    fold = np.where(station < stations // 2, 2 * station, 2 * (stations - 1 - station) + 1)
    return np.asarray(fold * rows, dtype=np.int64)


@lru_cache(maxsize=32)
def _unknowns(stations: int, rows: int) -> NDArray[np.int64]:
    """Every unknown (rows, N) of each station."""
    return places(stations, rows)[None] + np.arange(rows)[:, None]


@lru_cache(maxsize=32)
def rest_angles(stations: int, rows: int) -> Floats:
    """First unknown of each station, and cosine and sine of its resting direction."""
    angle = np.pi * 0.5 - (2 * np.arange(stations) + 1) * np.pi / stations
    return np.stack([places(stations, rows).astype(np.float64), np.cos(angle), np.sin(angle)], axis=1)


def network_of(model: loop.Energy) -> Network | None:
    """The net of a chain or of two loops; None for a model that the kernels do not know."""
    if type(model) is Assembly:
        return _network(model.chain, None)
    if type(model) is TwoLoopAssembly:
        return _network(model.loops.equator, model.loops)
    return None


@dataclass(frozen=True)
class Joints:
    """What is coupled to what, of one chain or two: it hangs on the number of stations alone. ``wide``: columns of the
    lower band."""

    ends: NDArray[np.int64]
    tie_at: NDArray[np.int64]
    bend_at: NDArray[np.int64]
    wide: int


@lru_cache(maxsize=32)
def joints(stations: int, rows: int, bends: bool) -> Joints:
    """Ends of the strips (equator; then margin and flap), ends of the ties, and the three stations of each turn."""
    outer = places(stations, rows)
    onward = np.roll(outer, -1)
    pairs, ties = [(outer, onward)], []
    if rows == ROWS:
        inner, inner_onward = outer + 2, onward + 2
        pairs += [(inner, inner_onward), (outer, inner), (outer, inner_onward), (onward, inner)]
        ties = [(outer, inner), (inner, inner_onward)]
    ends = np.concatenate([np.stack(pair, axis=1) for pair in pairs])
    tie_at = np.concatenate([np.zeros((0, 2), dtype=np.int64), *(np.stack(pair, axis=1) for pair in ties)])
    bend_at = np.stack([np.roll(outer, 1), outer, onward], axis=1)[: stations * bends]
    apart = int(np.abs(ends[:, 0] - ends[:, 1]).max())
    if bends:
        apart = max(apart, int(np.ptp(bend_at, axis=1).max()))
    return Joints(ends, tie_at, bend_at, apart + 2)


def _network(chain: Chain, loops: TwoLoops | None) -> Network:
    count, rows = chain.stations, 2 if loops is None else ROWS
    outer, inner = places(count, rows), places(count, rows) + 2
    chains = [(chain, outer)] if loops is None else [(chain, outer), (loops.margin, inner)]
    bends = bool(np.any(chain.bending_mn_mm > 0))
    known = joints(count, rows, bends)
    strips = known.ends.shape[0]
    axial, laws, firm = np.empty((strips, 3)), np.empty((strips, 2)), np.zeros(strips)
    load, bed, bed_at = np.zeros((3, count * rows))
    for n, (one, place) in enumerate(chains):
        part, hoop = slice(n * count, (n + 1) * count), one.hoop
        covered = hoop.covered if bends and one is chain else 0.0
        firm[part], axial[part, 0] = hoop.stiffness_mn * covered, hoop.stiffness_mn * (1 - covered)
        axial[part, 1], axial[part, 2] = hoop.rest_length_mm, hoop.bilateral_length_mm
        laws[part, 0], laws[part, 1] = hoop.toe_strain, hoop.slack_share
        for row in range(2):
            load[place + row] = one.force_mn[row]
            if one.bed_mn_per_mm:
                bed[place + row] = one.bed_mn_per_mm / count
                bed_at[place + row] = np.broadcast_to(one.bed_at_mm, (2, count))[row]
    pulling = [(one.springs, place, place, 0.0) for one, place in chains]
    tie = np.empty((known.tie_at.shape[0], 3))
    if loops is not None:
        flap = loops.flap
        for kind in range(STRIPS):
            part = slice((2 + kind) * count, (3 + kind) * count)
            rest = flap.rest_length_mm[kind, 0]
            axial[part, 0], axial[part, 1], axial[part, 2] = flap.stiffness_mn[kind, 0], rest, rest
            laws[part, 0], laws[part, 1] = flap.toe_strain, 0.0
        for n, stiffness in enumerate((flap.tie_mn_per_mm, flap.margin_tie_mn_per_mm)):
            part = slice(n * count, (n + 1) * count)
            tie[part, 0], tie[part, 1], tie[part, 2] = stiffness, flap.tied_mm[n][0], flap.tied_mm[n][1]
        pulling.append((loops.on_flap, outer, inner, loops.flap_share))
    fibre, fibre_at = _fibres(pulling)
    bend = np.empty((count * bends, 2))
    if bends:
        bend[:, 0], bend[:, 1] = chain.bending_mn_mm, chain.free_turn_rad
    return Network(
        axial=axial,
        firm=firm,
        ends=known.ends,
        laws=laws,
        tie=tie,
        tie_at=known.tie_at,
        fibre=fibre,
        fibre_at=fibre_at,
        bend=bend,
        bend_at=known.bend_at,
        load=load,
        bed=bed,
        bed_at=bed_at,
        turn=float(chain.torque_mn_mm) / count,
        rest_angle=rest_angles(count, rows),
    )


def _fibres(
    pulling: list[tuple[Springs, NDArray[np.int64], NDArray[np.int64], float]],
) -> tuple[Floats, NDArray[np.int64]]:
    """Every fibre and hold, set by set: springs, first unknowns of the stations at both ends of what they pull at, and
    the share of the way from one to the other."""
    whole = sum(springs.station.size for springs, *_ in pulling)
    fibre, at = np.empty((whole, 6)), np.empty((whole, 2), dtype=np.int64)
    first = 0
    for springs, near, far, share in pulling:
        part = slice(first, first + springs.station.size)
        fibre[part, 0], fibre[part, 1], fibre[part, 2] = springs.anchor_mm[0], springs.anchor_mm[1], springs.height_mm
        fibre[part, 3], fibre[part, 4], fibre[part, 5] = springs.stiffness_mn_per_mm, springs.free_length_mm, share
        at[part, 0], at[part, 1] = near[springs.station], far[springs.station]
        first = part.stop
    return fibre, at


def _most(gradient: Floats, band: Floats) -> tuple[float, float]:
    """Largest force, and largest stiffness on the diagonal of a lower band."""
    residual, stiffest = 0.0, 0.0
    for u in range(gradient.shape[0]):
        if not abs(gradient[u]) <= residual:
            residual = abs(gradient[u])
        stiffest = max(stiffest, band[u, band.shape[1] - 1])
    return residual, stiffest


most = compiled(_most, part=True)


def _solve(at: Floats, wide: int, scale: float, size: float, net: Any) -> tuple[int, bool, float]:
    """Newton's steps in place; number of steps, whether rest was found, largest force left."""
    count = at.shape[0]
    band, out = np.zeros((count, wide)), np.zeros((count, wide))
    gradient, step, trial = np.zeros(count), np.zeros(count), np.zeros(count)
    now = energy(at, net)
    derivatives(at, net, gradient, band)
    shift, iterations = 0.0, 0
    while True:
        residual, stiffest = most(gradient, band)
        converged = residual <= max(RESIDUAL * scale, ROUNDING * stiffest * size)
        if converged or iterations == MAX_ITERATIONS:
            return iterations, converged, residual
        iterations += 1
        put(step, gradient, -1.0)
        while not factor(band, shift, out):
            shift = max(shift * SHIFT_UP, SHIFT_START)
            if shift > SHIFT_MOST:
                break
        if shift > SHIFT_MOST:
            put(step, step, 1 / SHIFT_MOST)
        else:
            substitute(out, step)
        longest = 0.0
        for u in range(0, count, 2):
            longest = max(longest, step[u] * step[u] + step[u + 1] * step[u + 1])
        longest = math.sqrt(longest)
        if longest > STEP_CAP_MM:
            put(step, step, STEP_CAP_MM / longest)
        slope = product(gradient, step)
        rounding = ENERGY_ROUNDING * (abs(now) + scale)
        share, accepted = 1.0, False
        for _ in range(HALVINGS):
            for u in range(count):
                trial[u] = at[u] + share * step[u]
            then = energy(trial, net)
            if then <= now + ARMIJO * share * slope + rounding:
                put(at, trial, 1.0)
                now, accepted = then, True
                derivatives(at, net, gradient, band)
                shift = shift * SHIFT_DOWN if shift > SHIFT_LEAST else 0.0
                break
            share *= 0.5
        if not accepted:
            shift = max(shift * SHIFT_UP, SHIFT_START)


_kernel = compiled(_solve)


def minimise(network: Network, start_mm: Floats, force_scale_mn: float) -> tuple[Floats, int, bool, float]:
    """Rest shape, steps, whether rest was found, and the largest force left: see :func:`loop.minimise`."""
    rows, stations = start_mm.shape
    place = _unknowns(stations, rows)
    at = np.empty(rows * stations)
    at[place] = start_mm
    size = float(np.abs(start_mm).max())
    net = tuple(vars(network).values())
    wide = joints(stations, rows, network.bend.size > 0).wide
    steps, converged, residual = _kernel(at, wide, float(force_scale_mn), size, net)
    return at[place], steps, converged, residual


def warm() -> None:
    """Compile the kernel, by a small circle that rests."""
    at, count, none = loop.station_directions(2 * HOUR_COUNT), 2 * HOUR_COUNT, np.zeros(0)
    spacing = float(np.hypot(*(at[:, 1] - at[:, 0])))
    springs = Springs(np.zeros(0, dtype=np.int64), np.zeros((2, 0)), none, none, none)
    hoop = Hoop(1.0, 0.5, 0.5, spacing, spacing, np.zeros(count))
    network = network_of(Assembly(Chain(hoop, springs, np.zeros(count), 0.0, np.zeros((2, count)), 0.0)))
    if network is not None:
        minimise(network, at, 1.0)
