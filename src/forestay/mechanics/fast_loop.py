"""The compiled counterpart of :func:`forestay.mechanics.loop.minimise`: the same steps, on one net of springs."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from forestay.mechanics import loop
from forestay.mechanics.fast_band import factor, substitute
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import derivatives, energy, product, put
from forestay.mechanics.loop_assembly import Assembly, Chain, Hoop, Springs
from forestay.mechanics.network import Network, joints, network_of, unknowns_of
from forestay.mechanics.zonule import HOUR_COUNT, Floats

MAX_ITERATIONS, HALVINGS, STALLED_STEPS = loop.MAX_ITERATIONS, loop.HALVINGS, loop.STALLED_STEPS
RESIDUAL, ROUNDING, ENERGY_ROUNDING, ARMIJO = loop.RESIDUAL, loop.ROUNDING, loop.ENERGY_ROUNDING, loop.ARMIJO
STEP_CAP_MM = loop.STEP_CAP_MM
SHIFT_START, SHIFT_UP, SHIFT_DOWN, SHIFT_LEAST = loop.SHIFT_START, loop.SHIFT_UP, loop.SHIFT_DOWN, loop.SHIFT_LEAST
SHIFT_MOST = loop.SHIFT_MOST


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
    shift, iterations, stalled = 0.0, 0, 0
    while True:
        residual, stiffest = most(gradient, band)
        converged = residual <= max(RESIDUAL * scale, ROUNDING * stiffest * size)
        if converged or iterations == MAX_ITERATIONS or stalled == STALLED_STEPS:
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
        stalled += 1
        for _ in range(HALVINGS):
            for u in range(count):
                trial[u] = at[u] + share * step[u]
            then = energy(trial, net)
            if then <= now + ARMIJO * share * slope + rounding:
                stalled = stalled if then >= now - rounding else 0
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
    place = unknowns_of(stations, rows)
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
