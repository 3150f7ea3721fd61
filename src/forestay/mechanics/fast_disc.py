"""The compiled counterpart of :func:`forestay.mechanics.disc.equilibrium`: each draw by itself, on every core."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics import disc
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import fill, put
from forestay.mechanics.fast_threads import shared_out
from forestay.mechanics.fibres import fibre_order, outward_of
from forestay.mechanics.zonule import HOUR_COUNT, Floats, Hold, ZonuleParameters, direction

MAX_ITERATIONS, RESIDUAL, STEP_CAP_MM = disc.MAX_ITERATIONS, disc.RESIDUAL, disc.STEP_CAP_MM
SHIFT_START, SHIFT_UP, SHIFT_DOWN, SHIFT_LEAST = disc.SHIFT_START, disc.SHIFT_UP, disc.SHIFT_DOWN, disc.SHIFT_LEAST
ENERGY_ROUNDING, ARMIJO = disc.ENERGY_ROUNDING, disc.ARMIJO
SIDES = HOUR_COUNT - 2  # fibres right and left of the 12-6 line, in that order; the last two lie on it
HALF = SIDES // 2
TERMS = 1 + 3 + 6  # energy, gradient, Hessian
TINY = float(np.finfo(float).tiny)


def _terms(place: tuple[float, ...], way: tuple[float, ...], stiff: float) -> tuple[float, ...]:
    """Energy (doubled), gradient and Hessian (xx, xy, yy, xr, yr, rr) of one fibre or hold, without a branch. ``place``:
    shift, cosine and sine of the turn, radius; ``way``: its direction, anchor's radius, free length."""
    x, y, cos, sin, radius = place
    out_x, out_y, anchor, free = way
    nx, ny = out_x * cos - out_y * sin, out_y * cos + out_x * sin
    ax, ay = nx * radius + x - out_x * anchor, ny * radius + y - out_y * anchor
    length = math.sqrt(max(ax * ax + ay * ay, TINY))
    inverse = 1 / length
    ux, uy = ax * inverse, ay * inverse
    stretch = length - free
    taut = stiff if stretch > 0.0 else 0.0
    tension = taut * stretch
    across = uy * nx - ux * ny
    sideways = tension * inverse
    excess = taut - sideways
    turned = excess * across
    return (
        tension * stretch,
        tension * ux,
        tension * uy,
        tension * across,
        excess * ux * ux + sideways,
        excess * ux * uy,
        excess * uy * uy + sideways,
        turned * ux - sideways * ny,
        turned * uy + sideways * nx,
        turned * across - tension * (ux * nx + uy * ny) / radius + sideways,
    )


terms = compiled(_terms, part=True, inline="always")


def _evaluate(at: Floats, stiff: Floats, outward: Floats, own: Floats, into: tuple[Floats, Floats]) -> None:
    """Energy, gradient and Hessian (xx, xy, yy, xr, yr, rr) at the shift and radius times turn ``at`` (3,). ``outward`` of
    each fibre and hold: direction, anchor's radius, free length; ``own``: radius, loads, force scale, pre-stretch.
    ``into``: room for the ten terms of each fibre, and their sums (10,). The processor takes several fibres at a time; a
    fibre and its mirror image are added first: mirror images agree."""
    room, total = into
    radius = own[0]
    out_x, out_y, anchor, free = outward[0], outward[1], outward[2], outward[3]
    place = (at[0], at[1], math.cos(at[2] / radius), math.sin(at[2] / radius), radius)
    for f in range(room.shape[0] // TERMS):  # how few there are is not told: the compiler would take them singly
        stored, gx, gy, gr, xx, xy, yy, xr, yr, rr = terms(place, (out_x[f], out_y[f], anchor[f], free[f]), stiff[f])
        room[f] = stored
        room[HOUR_COUNT + f] = gx
        room[2 * HOUR_COUNT + f] = gy
        room[3 * HOUR_COUNT + f] = gr
        room[4 * HOUR_COUNT + f] = xx
        room[5 * HOUR_COUNT + f] = xy
        room[6 * HOUR_COUNT + f] = yy
        room[7 * HOUR_COUNT + f] = xr
        room[8 * HOUR_COUNT + f] = yr
        room[9 * HOUR_COUNT + f] = rr
    for q in range(TERMS):
        first, added = q * HOUR_COUNT, 0.0
        for f in range(first, first + HALF):
            added += room[f] + room[f + HALF]
        total[q] = added + (room[first + SIDES] + room[first + SIDES + 1])
    for f in range(HOUR_COUNT, stiff.shape[0]):
        hold = terms(place, (out_x[f], out_y[f], anchor[f], free[f]), stiff[f])
        for q in range(TERMS):
            total[q] += hold[q]
    total[0] = 0.5 * total[0] - (own[1] * at[0] + own[2] * at[1] + own[3] * at[2])
    total[1] -= own[1]
    total[2] -= own[2]
    total[3] -= own[3]


evaluate = compiled(_evaluate, part=True)


def _step(now: Floats, added: float, step: Floats) -> bool:
    """Newton's step by elimination of the shifted 3 x 3 system, capped; False where it is not positive definite."""
    xx, yy, rr = now[4] + added, now[6] + added, now[9] + added
    if xx <= TINY:
        return False
    ratio_y, ratio_r = now[5] / xx, now[7] / xx
    yy_left, yr_left, rr_left = yy - ratio_y * now[5], now[8] - ratio_r * now[5], rr - ratio_r * now[7]
    if yy_left <= TINY:
        return False
    ratio = yr_left / yy_left
    left = rr_left - ratio * yr_left
    if left <= TINY:
        return False
    right_y = -now[2] + ratio_y * now[1]
    right_r = -now[3] + ratio_r * now[1] - ratio * right_y
    step[2] = right_r / left
    step[1] = right_y / yy_left - ratio * step[2]
    step[0] = -now[1] / xx - ratio_y * step[1] - ratio_r * step[2]
    size = math.sqrt(step[0] * step[0] + step[1] * step[1] + step[2] * step[2])
    put(step, step, min(1.0, STEP_CAP_MM / max(size, TINY)))
    return True


newton_step = compiled(_step, part=True)


def _rest(at: Floats, stiff: Floats, outward: Floats, own: Floats, work: Any) -> tuple[int, bool]:
    """Newton's steps of one draw, in place; how many, and whether rest was found. ``work``: room for it."""
    room, here, then, step, trial = work
    unit, prestretch = own[4], own[5]
    shift, steps = 0.0, 0
    evaluate(at, stiff, outward, own, (room, here))
    while True:
        if max(abs(here[1]), abs(here[2]), abs(here[3])) <= RESIDUAL * unit:
            return steps, True
        if steps == MAX_ITERATIONS:
            return steps, False
        steps += 1
        accepted = newton_step(here, shift * unit / prestretch, step)
        if accepted:
            for i in range(3):
                trial[i] = at[i] + step[i]
            evaluate(trial, stiff, outward, own, (room, then))
            slope = here[1] * step[0] + here[2] * step[1] + here[3] * step[2]
            rounding = ENERGY_ROUNDING * (abs(here[0]) + unit * prestretch)
            accepted = then[0] <= here[0] + ARMIJO * slope + rounding
            if accepted:
                put(at, trial, 1.0)
                put(here, then, 1.0)
        shift = shift * SHIFT_DOWN if accepted else max(shift * SHIFT_UP, SHIFT_START)
        if shift < SHIFT_LEAST:
            shift = 0.0


rest = compiled(_rest, part=True)


def _solve(first: int, last: int, given: Any, found: Any) -> None:
    """Draws ``first`` to ``last``: rest, its fibres and holds, and whether anything holds the disc."""
    support, stiffness, directions, own, holds, slack, hour = given
    unknowns, stretches, tensions, pulls, iterations, converged, held = found
    fibres, whole_count = hour.shape[0], hour.shape[0] + holds.shape[0]
    at, stiff, whole, rested = np.zeros(3), np.zeros(whole_count), np.zeros(3), np.zeros(3)
    work = (np.zeros(TERMS * HOUR_COUNT), np.zeros(TERMS), np.zeros(TERMS), np.zeros(3), np.zeros(3))
    outward = np.zeros((4, whole_count))
    for f in range(fibres):
        outward[0, f], outward[1, f] = directions[0, f], directions[1, f]
    for n in range(first, last):
        size, length = own[n, 0], own[n, 6]
        for f in range(fibres):
            stiff[f] = support[hour[f], n] * stiffness[n]
            outward[2, f], outward[3, f] = size + length, length - own[n, 5]
        for h in range(holds.shape[0]):
            f = fibres + h
            outward[0, f], outward[1, f], stiff[f] = holds[h, 0], holds[h, 1], holds[h, 2]
            outward[2, f], outward[3, f] = size + holds[h, 3], holds[h, 4]
        fill(at, 0.0)
        steps, rests = rest(at, stiff, outward, own[n], work)
        cos, sin = math.cos(at[2] / size), math.sin(at[2] / size)
        fill(whole, 0.0)
        fill(rested, 0.0)
        for f in range(whole_count):
            out_x, out_y = outward[0, f], outward[1, f]
            ax = (out_x * cos - out_y * sin) * size + at[0] - out_x * outward[2, f]
            ay = (out_y * cos + out_x * sin) * size + at[1] - out_y * outward[2, f]
            stretch = max(math.sqrt(ax * ax + ay * ay) - outward[3, f], 0.0)
            side = min(2 * f // SIDES, 2)
            whole[side] += stiff[f] * stretch
            if f < fibres:
                stretches[hour[f], n] = stretch
                tensions[hour[f], n] = stiff[f] * stretch
                rested[side] += stiff[f] * own[n, 5]
            else:
                pulls[f - fibres, n] = stiff[f] * stretch
                rested[side] += own[n, 4] / HOUR_COUNT
        at_rest = rested[0] + rested[1] + rested[2]
        unknowns[0, n], unknowns[1, n], unknowns[2, n] = at[0], at[1], at[2] / size
        iterations[n], converged[n] = steps, rests
        held[n] = rests and at_rest > 0 and (whole[0] + whole[1]) + whole[2] >= slack * at_rest


_kernel = compiled(_solve)


@cache
def _fibres() -> tuple[NDArray[np.int64], Floats]:
    """Clock hour and outward direction of each fibre: the same in every eye."""
    hour, clock, pairs, _ = fibre_order(1, 1)
    return hour, np.stack(outward_of(clock, pairs))


def equilibrium(
    support: Floats,
    shape: tuple[int, ...],
    loads: tuple[Floats, ...],
    parameters: ZonuleParameters,
    holds: Sequence[Hold] = (),
) -> disc.DiscState:
    """As the numpy solver, for one fibre a clock hour and instruments; arguments are checked already.

    ``support`` (12,) or (12, n); ``shape`` of the draws; ``loads`` right, up, turning.
    """
    hour, outward = _fibres()
    draws = int(np.prod(shape))

    def flat(values: Any) -> Floats:
        return np.ascontiguousarray(np.broadcast_to(values, shape).reshape(-1), dtype=np.float64)

    # a copy: the kernel is compiled for arrays that can be written, and a second time for those that cannot
    share = np.array(np.broadcast_to(support if support.ndim > 1 else support[:, None], (12, draws)), order="C")
    radius, fibre = flat(parameters.bag_radius_mm), flat(parameters.fibre_length_mm)
    prestretch, total = flat(parameters.prestretch_mm), flat(parameters.total_stiffness_mn_per_mm)
    own = np.empty((draws, 7))
    columns = (radius, flat(loads[0]), flat(loads[1]), flat(loads[2]) / radius, total * prestretch, prestretch, fibre)
    for column, values in enumerate(columns):
        own[:, column] = values
    rows = [(*direction(h.clock), h.stiffness_mn_per_mm, h.length_mm, h.length_mm - h.overpull_mm) for h in holds]
    held_by = np.array(rows, dtype=np.float64).reshape(len(rows), 5)
    given = (share, total / HOUR_COUNT, outward, own, held_by, float(parameters.slack_share), hour)
    unknowns, stretch, tension = np.empty((3, draws)), np.empty((HOUR_COUNT, draws)), np.empty((HOUR_COUNT, draws))
    pulls = np.empty((len(rows), draws))
    iterations, converged, held = np.empty(draws, dtype=np.int64), np.empty(draws, bool), np.empty(draws, bool)
    shared_out(_kernel, draws, (given, (unknowns, stretch, tension, pulls, iterations, converged, held)))
    there = share.any(axis=0) if not rows else np.ones(draws, dtype=np.bool_)
    words = disc.state_words(held, ~converged & there & (own[:, 3] != 0)).reshape(shape)

    def shaped(values: Any) -> Any:
        return values.reshape(values.shape[:-1] + tuple(shape))

    return disc.DiscState(
        x_mm=shaped(unknowns[0]),
        y_mm=shaped(unknowns[1]),
        rotation_rad=shaped(unknowns[2]),
        stretch_mm=shaped(stretch),
        tension_mn=shaped(tension),
        hold_tension_mn=shaped(pulls),
        state=str(words) if not shape else words,
        iterations=shaped(iterations),
        converged=shaped(converged),
    )


def warm() -> None:
    """Compile the kernel, by one draw."""
    none = np.zeros(())
    equilibrium(np.ones(HOUR_COUNT), (), (none, none, none), ZonuleParameters(1.0, 1.0, 0.25, 1.0, 0.0))
