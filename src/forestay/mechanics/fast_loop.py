"""The compiled counterpart of :func:`forestay.mechanics.loop.minimise`: the same steps, on one net of springs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics import loop
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import derivatives, energy, factor, product, put, substitute
from forestay.mechanics.loop_assembly import Assembly, Chain, Hoop, Springs
from forestay.mechanics.two_loop import ROWS, TwoLoopAssembly, TwoLoops
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


def _network(chain: Chain, loops: TwoLoops | None) -> Network | None:
    count, rows = chain.stations, 2 if loops is None else ROWS
    outer = places(count, rows)
    chains = [(chain, outer)] if loops is None else [(chain, outer), (loops.margin, outer + 2)]
    axial, firm, ends, laws, fibre, fibre_at = [], [], [], [], [], []
    tie, tie_at = np.zeros((0, 3)), np.zeros((0, 2), dtype=np.int64)
    load, bed, bed_at = np.zeros(count * rows), np.zeros(count * rows), np.zeros(count * rows)
    bends = bool(np.any(chain.bending_mn_mm > 0))
    for one, place in chains:
        hoop = one.hoop
        covered = hoop.covered if bends and one is chain else np.zeros(count)
        axial.append(np.stack(np.broadcast_arrays(
            hoop.stiffness_mn * (1 - covered), hoop.rest_length_mm, hoop.bilateral_length_mm), axis=1))  # fmt: skip
        laws.append(np.tile([hoop.toe_strain, hoop.slack_share], (count, 1)))
        firm.append(hoop.stiffness_mn * covered)
        ends.append(np.stack([place, np.roll(place, -1)], axis=1))
        springs = one.springs
        height = np.broadcast_to(springs.height_mm, springs.station.shape)
        fibre.append(_fibres(springs.anchor_mm, height, springs.stiffness_mn_per_mm, springs.free_length_mm, 0.0))
        fibre_at.append(np.stack([place[springs.station]] * 2, axis=1))
        for row in range(2):
            load[place + row] = one.force_mn[row]
            bed[place + row] = one.bed_mn_per_mm / count
            if one.bed_mn_per_mm:
                bed_at[place + row] = np.broadcast_to(one.bed_at_mm, (2, count))[row]
    if loops is not None:
        inner = outer + 2
        for kind, (a, b) in enumerate(((outer, inner), (outer, np.roll(inner, -1)), (np.roll(outer, -1), inner))):
            stiff, rest = loops.flap.stiffness_mn[kind, 0], loops.flap.rest_length_mm[kind, 0]
            axial.append(np.tile([stiff, rest, rest], (count, 1)))
            laws.append(np.tile([loops.flap.toe_strain, 0.0], (count, 1)))
            firm.append(np.zeros(count))
            ends.append(np.stack([a, b], axis=1))
        front = loops.on_flap
        height = np.broadcast_to(front.height_mm, front.station.shape)
        made = _fibres(front.anchor_mm, height, front.stiffness_mn_per_mm, front.free_length_mm, loops.flap_share)
        fibre.append(made)
        fibre_at.append(np.stack([outer[front.station], inner[front.station]], axis=1))
        ties = (loops.flap.tie_mn_per_mm, loops.flap.margin_tie_mn_per_mm)
        tie = np.concatenate(
            [np.stack([np.full(count, c), d[0], d[1]], axis=1) for c, d in zip(ties, loops.flap.tied_mm, strict=True)]
        )
        tie_at = np.concatenate([np.stack([outer, inner], axis=1), np.stack([inner, np.roll(inner, -1)], axis=1)])
    return Network(
        axial=np.concatenate(axial),
        firm=np.concatenate(firm),
        ends=np.concatenate(ends),
        laws=np.concatenate(laws),
        tie=tie,
        tie_at=tie_at,
        fibre=np.concatenate(fibre),
        fibre_at=np.concatenate(fibre_at),
        bend=np.stack([chain.bending_mn_mm, np.full(count, chain.free_turn_rad)], axis=1)[: count * bends],
        bend_at=np.stack([np.roll(outer, 1), outer, np.roll(outer, -1)], axis=1)[: count * bends],
        load=load,
        bed=bed,
        bed_at=bed_at,
        turn=float(chain.torque_mn_mm) / count,
        rest_angle=rest_angles(count, rows),
    )


def _fibres(anchor: Floats, height: Floats, stiffness: Floats, free: Floats, share: float) -> Floats:
    return np.stack([anchor[0], anchor[1], height, stiffness, free, np.full(height.shape, share)], axis=1)


def _half_width(network: Network) -> int:
    """How far apart coupled unknowns lie at most."""
    apart = [np.abs(network.ends[:, 0] - network.ends[:, 1]).max()]
    if network.bend_at.size:
        apart.append(np.ptp(network.bend_at, axis=1).max())
    if network.fibre_at.size:
        apart.append(np.ptp(network.fibre_at, axis=1).max())
    return int(max(apart)) + 1


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
    place = places(stations, rows)[None] + np.arange(rows)[:, None]
    at = np.empty(rows * stations)
    at[place] = start_mm
    size = float(np.abs(start_mm).max())
    net = tuple(getattr(network, name) for name in network.__dataclass_fields__)
    steps, converged, residual = _kernel(at, _half_width(network) + 1, float(force_scale_mn), size, net)
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
