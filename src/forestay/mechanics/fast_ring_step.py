"""Compiled Newton steps of open rings in a bag: the same steps as :mod:`forestay.mechanics.open_ring_solver`."""

from __future__ import annotations

import math
from typing import Any

from forestay.mechanics import open_ring_solver as solver
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import product, put
from forestay.mechanics.fast_ring_drag import add_drag, gauss, unfold
from forestay.mechanics.fast_ring_net import COUNT, FIRST, FRICTION, KNOTS, PLACE, bring_up, look_on, whole_energy
from forestay.mechanics.fast_ring_system import firm_up, gather, jacobian, newton
from forestay.mechanics.open_ring import POSE
from forestay.mechanics.zonule import Floats

MAX_ITERATIONS, STEP_LIMIT_MM, ARMIJO = solver.MAX_ITERATIONS, solver.STEP_LIMIT_MM, solver.ARMIJO
SHIFT_START, SHIFT_UP, SHIFT_DOWN = solver.SHIFT_START, solver.SHIFT_UP, solver.SHIFT_DOWN
SHIFT_LEAST, SHIFT_MOST = solver.SHIFT_LEAST, solver.SHIFT_MOST
RUB_RESIDUAL = solver.RUB_RESIDUAL
GAIN_LIMIT, HALVING_STEPS, ENERGY_ROUNDING = solver.GAIN_LIMIT, solver.HALVING_STEPS, solver.ENERGY_ROUNDING


def _cap(arc_at: Any, moves: Any, step: Floats) -> None:
    """Shorten the step so that nothing moves further than ``STEP_LIMIT_MM``."""
    longest = 0.0
    for i in range(arc_at[0, FIRST]):
        longest = max(longest, abs(step[i]))
    for a in range(arc_at.shape[0]):
        for p in range(arc_at[a, COUNT]):
            for row in range(2):
                total = 0.0
                for m in range(POSE + arc_at[a, KNOTS]):
                    total += moves[a, p, row, m] * step[arc_at[a, FIRST] + m]
                longest = max(longest, abs(total))
    if longest > STEP_LIMIT_MM:
        for i in range(step.shape[0]):
            step[i] *= STEP_LIMIT_MM / longest


cap = compiled(_cap, part=True)


def _scales(given: Any, known: Any, moves: Any, out: Floats) -> None:
    """What a shift of one unit means for each unknown."""
    arc_at, stations = given[3], given[2].shape[0]
    jacobian(arc_at, given[4], known, moves)
    for i in range(out.shape[0]):
        out[i] = 1.0
    for a in range(arc_at.shape[0]):
        for m in range(POSE + arc_at[a, KNOTS]):
            total = 0.0
            for p in range(arc_at[a, COUNT]):
                total += moves[a, p, 0, m] * moves[a, p, 0, m] + moves[a, p, 1, m] * moves[a, p, 1, m]
            out[arc_at[a, FIRST] + m] = total / stations


scales_of = compiled(_scales, part=True)


def _residual(gradient: Floats, scales: Floats) -> float:
    """Largest unbalanced force."""
    most = 0.0
    for i in range(gradient.shape[0]):
        force = abs(gradient[i]) / math.sqrt(scales[i])
        if not force <= most:
            most = force
    return most


residual_of = compiled(_residual, part=True)


def _positive(system: Any, scales: Floats, shift: float, factors: Any) -> tuple[bool, float]:
    """Factor with the least shift (of those tried) that makes the Hessian positive; whether there is one, and the shift."""
    while shift <= SHIFT_MOST:
        if firm_up(system, scales, shift, factors):
            return True, shift
        shift = max(shift * SHIFT_UP, SHIFT_START)
    return False, shift


positive = compiled(_positive, part=True)


def _copy(target: Any, source: Any) -> None:
    """All numbers of arrays with three axes."""
    for a in range(target.shape[0]):
        for p in range(target.shape[1]):
            put(target[a, p], source[a, p], 1.0)


copy = compiled(_copy, part=True)


def _full(u: Floats, given: Any, points: Any, system: Any, room: Any) -> None:
    """Newton's full step with friction's growth into the second of ``room``."""
    full, step = room
    unfold(system, full)
    add_drag(u, given, points, system[2], full)
    put(step, system[1][0], -1.0)
    if not gauss(full, step):
        put(step, system[1][0], -1 / SHIFT_MOST)
    cap(given[3], system[2], step)


full_step = compiled(_full, part=True)


def _moved(u: Floats, step: Floats, part: float, given: Any, ends: Any) -> None:
    """Go along a step. ``ends``: what is known here, the unknowns there, and what is known there."""
    known, moved, there = ends
    for i in range(u.shape[0]):
        moved[i] = u[i] + part * step[i]
    for a in range(known.shape[0]):
        for p in range(known.shape[1]):
            there[a, p, PLACE] = known[a, p, PLACE]
    look_on(moved, given, there)


go = compiled(_moved, part=True)


def _descend(u: Floats, given: Any, points: Any, down: Any, ends: Any) -> tuple[bool, float]:
    """The longest part of a step that brings its share of the promised fall: whether there is one, and the energy.
    ``down``: step, energy now, slope, rounding; ``ends`` as in :func:`_moved`."""
    step, now, slope, rounding = down
    part = 1.0
    for _ in range(HALVING_STEPS):
        go(u, step, part, given, ends)
        then = whole_energy(ends[1], given, (ends[2], points[1]))
        if then <= now + ARMIJO * part * slope + rounding:
            return True, then
        part *= 0.5
    return False, now


descend = compiled(_descend, part=True)


def _taken(target: Any, source: Any) -> None:
    """Unknowns, what is known, band, side and moves, copied."""
    put(target[0], source[0], 1.0)
    copy(target[1], source[1])
    for i in range(target[2].shape[0]):
        put(target[2][i], source[2][i], 1.0)
    for i in range(target[3].shape[0]):
        put(target[3][i], source[3][i], 1.0)
    for a in range(target[4].shape[0]):
        copy(target[4][a], source[4][a])


taken = compiled(_taken, part=True)


def _downhill(system: Any, scales: Floats, found: bool, factors: Any, step: Floats) -> None:
    """Newton's step; straight downhill where the Hessian has no factor."""
    put(step, system[1][0], -1.0)
    if found:
        newton(factors, step)
        return
    for i in range(step.shape[0]):
        step[i] /= SHIFT_MOST * scales[i]


downhill = compiled(_downhill, part=True)


def _settle(u: Floats, given: Any, points: Any, room: Any, aims: tuple[float, float]) -> tuple[int, bool, float]:
    """Newton steps at one firmness of contact, in place: how many, whether at rest, and the residual.

    ``room``: arrays to work in (see :func:`forestay.mechanics.fast_ring.room_for`); ``aims``: tolerance and scale [mN].
    """
    vectors, bands, sides, both_moves, full, there, before = room
    scales, step, moved = vectors[0], vectors[1], vectors[2]
    system, tried = (bands[0], sides[0], both_moves[0]), (bands[1], sides[1], both_moves[1])
    factors, ends = (bands[2], sides[2][1:]), (points[0], moved, there)
    here = (u, points[0], system[0], system[1], system[2])
    far = (moved, there, tried[0], tried[1], tried[2])
    tolerance, scale = aims
    scales_of(given, points[0], system[2], scales)
    now = whole_energy(u, given, points)
    gather(u, given, points, system)
    residual = residual_of(system[1][0], scales)
    shift, iterations, converged = 0.0, 0, False
    while True:
        if residual <= max(tolerance, RUB_RESIDUAL * scale):
            bring_up(given, points)
            now = whole_energy(u, given, points)
            gather(u, given, points, system)
            residual = residual_of(system[1][0], scales)
            converged = residual <= tolerance
        if converged or iterations == MAX_ITERATIONS:
            return iterations, converged, residual
        iterations += 1
        found, shift = positive(system, scales, shift, factors)
        near = residual <= (scale if shift == 0 else RUB_RESIDUAL * scale)
        if near and given[8][FRICTION] > 0:
            full_step(u, given, points, system, (full, step))
            go(u, step, 1.0, given, ends)
            copy(before, points[1])
            bring_up(given, (there, points[1]))
            gather(moved, given, (there, points[1]), tried)
            reached = residual_of(tried[1][0], scales)
            if reached <= GAIN_LIMIT * residual:
                taken(here, far)
                residual = reached
                now = whole_energy(u, given, points)
                continue
            copy(points[1], before)
        downhill(system, scales, found, factors, step)
        cap(given[3], system[2], step)
        down = (step, now, product(system[1][0], step), ENERGY_ROUNDING * (abs(now) + scale))
        accepted, now = descend(u, given, points, down, ends)
        if not accepted:
            shift = max(shift * SHIFT_UP, SHIFT_START)
            continue
        put(u, moved, 1.0)
        copy(points[0], there)
        gather(u, given, points, system)
        residual = residual_of(system[1][0], scales)
        shift = shift * SHIFT_DOWN if shift > SHIFT_LEAST else 0.0


settle = compiled(_settle)
