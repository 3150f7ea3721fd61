"""The compiled counterpart of :func:`forestay.mechanics.bag_draws.rest_draws`: draws side by side, on every core."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from forestay.mechanics import loop
from forestay.mechanics.bag_chain import chain_of
from forestay.mechanics.bag_draws import BagDraws
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_lanes import (
    HALF_STEPS,
    LANES_CHUNK,
    WIDE_STEPS,
    derivatives,
    energy,
    factor,
    substitute,
)
from forestay.mechanics.fast_net import fill
from forestay.mechanics.fast_threads import shared_out
from forestay.mechanics.fibres import hours_of
from forestay.mechanics.loop_assembly import strain_at
from forestay.mechanics.network import places, rest_angles
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.zonule import HOUR_COUNT, Floats, ZonuleParameters

MAX_ITERATIONS, HALVINGS = loop.MAX_ITERATIONS, loop.HALVINGS
RESIDUAL, ROUNDING, ENERGY_ROUNDING, ARMIJO = loop.RESIDUAL, loop.ROUNDING, loop.ENERGY_ROUNDING, loop.ARMIJO
STEP_CAP_MM, SHIFT_MOST = loop.STEP_CAP_MM, loop.SHIFT_MOST
SHIFT_START, SHIFT_UP, SHIFT_DOWN, SHIFT_LEAST = loop.SHIFT_START, loop.SHIFT_UP, loop.SHIFT_DOWN, loop.SHIFT_LEAST


def _look(at: Floats, grounds: Any, marks: Any, pending: Floats) -> int:
    """Which lanes rest; how many are still to go on (``pending``)."""
    gradient, band = grounds
    scale, size, steps, rests = marks
    active = 0
    for w in range(LANES_CHUNK):
        most, stiffest = 0.0, 0.0
        for u in range(at.shape[0]):
            most = max(most, abs(gradient[u, w]))
            stiffest = max(stiffest, band[u, HALF_STEPS, w])
        if most <= max(RESIDUAL * scale[w], ROUNDING * stiffest * size[w]):
            rests[w] = 1.0
        pending[w] = 1.0 if rests[w] == 0.0 and steps[w] < MAX_ITERATIONS else 0.0
        active += pending[w] > 0
    return active


def _cap(step: Floats, gradient: Floats, steps: Floats, pending: Floats, slope: Floats) -> None:
    """Shorten long steps, and tell how far the energy should fall along each."""
    for w in range(LANES_CHUNK):
        if pending[w] == 0:
            continue
        steps[w] += 1
        longest = 0.0
        for u in range(0, step.shape[0], 2):
            longest = max(longest, step[u, w] * step[u, w] + step[u + 1, w] * step[u + 1, w])
        longest = math.sqrt(longest)
        part = STEP_CAP_MM / longest if longest > STEP_CAP_MM else 1.0
        slope[w] = 0.0
        for u in range(step.shape[0]):
            step[u, w] *= part
            slope[w] += gradient[u, w] * step[u, w]


look, cap = compiled(_look, part=True), compiled(_cap, part=True)


def _search(at: Floats, same: Any, own: Any, room: Any, scale: Floats) -> None:
    """Halve each lane's step until its energy falls; where it does not, raise the lane's shift."""
    step, trial, change, small = room
    now, then, shift, part, pending, slope = small[0], small[1], small[2], small[3], small[5], small[6]
    fill(part, 1.0)
    for _ in range(HALVINGS):
        for u in range(at.shape[0]):
            for w in range(LANES_CHUNK):
                trial[u, w] = at[u, w] + part[w] * step[u, w] if pending[w] > 0 else at[u, w]
        energy(trial, same, own, change, then)
        left = 0
        for w in range(LANES_CHUNK):
            if pending[w] == 0:
                continue
            rounding = ENERGY_ROUNDING * (abs(now[w]) + scale[w])
            if then[w] <= now[w] + ARMIJO * part[w] * slope[w] + rounding:
                for u in range(at.shape[0]):
                    at[u, w] = trial[u, w]
                now[w], pending[w] = then[w], 0.0
                shift[w] = shift[w] * SHIFT_DOWN if shift[w] > SHIFT_LEAST else 0.0
            else:
                part[w] *= 0.5
                left += 1
        if left == 0:
            return
    for w in range(LANES_CHUNK):
        if pending[w] > 0:
            shift[w] = max(shift[w] * SHIFT_UP, SHIFT_START)


search = compiled(_search, part=True)


def _factor_all(band: Floats, shift: Floats, out: Floats, sound: Floats, pending: Floats) -> None:
    """Factor with each lane's shift raised until its matrix is positive definite."""
    while True:
        factor(band, shift, out, sound)
        again = 0
        for w in range(LANES_CHUNK):
            if pending[w] > 0 and sound[w] == 0 and shift[w] <= SHIFT_MOST:
                shift[w] = max(shift[w] * SHIFT_UP, SHIFT_START)
                again += 1
        if again == 0:
            return


factor_all = compiled(_factor_all, part=True)


def _minimise(at: Floats, same: Any, own: Any, room: Any, marks: Any) -> None:
    """Newton's steps of all lanes, in place, each with its own damping, until every lane rests or gives up.

    ``marks``: force scale and size of the problem, steps taken and whether rest was found, of each lane."""
    gradient, band, out, step, trial, swing, change, small = room
    scale, size, steps, rests = marks
    shift, sound, pending, slope = small[2], small[4], small[5], small[6]
    fill(shift, 0.0)
    fill(steps, 0.0)
    fill(rests, 0.0)
    energy(at, same, own, change, small[0])
    while True:
        derivatives(at, same, own, change, (gradient, band, swing))
        if look(at, (gradient, band), (scale, size, steps, rests), pending) == 0:
            return
        for u in range(at.shape[0]):
            for w in range(LANES_CHUNK):
                step[u, w] = -gradient[u, w]
        factor_all(band, shift, out, sound, pending)
        substitute(out, step)
        cap(step, gradient, steps, pending, slope)
        search(at, same, own, (step, trial, change, small), scale)


minimise = compiled(_minimise, part=True)


def _solve(first: int, last: int, same: Any, given: Any, found: Any) -> None:
    """Draws ``first`` to ``last``, a handful side by side."""
    start, support, hour, stiffness, scalars, scale, size = given
    centre, loads, peak, area, iterations, converged = found
    place, outward = same[0], same[1]
    count, unknowns = place.shape[0], start.shape[0]
    at, step, trial = (
        np.zeros((unknowns, LANES_CHUNK)),
        np.zeros((unknowns, LANES_CHUNK)),
        np.zeros((unknowns, LANES_CHUNK)),
    )
    gradient, swing, change = (
        np.zeros((unknowns, LANES_CHUNK)),
        np.zeros((6, LANES_CHUNK)),
        np.zeros((count, LANES_CHUNK)),
    )
    band, out = np.zeros((unknowns, WIDE_STEPS, LANES_CHUNK)), np.zeros((unknowns, WIDE_STEPS, LANES_CHUNK))
    small, stiff, lane = np.zeros((7, LANES_CHUNK)), np.zeros((count, LANES_CHUNK)), np.zeros((4, LANES_CHUNK))
    marks = np.zeros((4, LANES_CHUNK))
    room = (gradient, band, out, step, trial, swing, change, small)
    for block in range(first, last, LANES_CHUNK):
        for w in range(LANES_CHUNK):
            n = min(block + w, last - 1)
            for u in range(unknowns):
                at[u, w] = start[u]
            for s in range(count):
                stiff[s, w] = support[hour[s], n] * stiffness[n] / count
            for row in range(4):
                lane[row, w] = scalars[row, n]
            marks[0, w], marks[1, w] = scale[n], size
        minimise(at, same, (stiff, lane), room, (marks[0], marks[1], marks[2], marks[3]))
        for w in range(min(LANES_CHUNK, last - block)):
            n = block + w
            iterations[n], converged[n] = int(marks[2, w]), marks[3, w] > 0
            inside = 0.0
            for s in range(count):
                i, j = place[s], place[(s + 1) % count]
                centre[0, n] += at[i, w] / count
                centre[1, n] += at[i + 1, w] / count
                inside += at[i, w] * at[j + 1, w] - at[i + 1, w] * at[j, w]
                rx, ry = at[i, w] - lane[2, w] * outward[0, s], at[i + 1, w] - lane[2, w] * outward[1, s]
                taut = max(math.sqrt(rx * rx + ry * ry) - lane[3, w], 0.0)
                loads[hour[s], n] += stiff[s, w] * taut
                if stiff[s, w] > 0:
                    peak[n] = max(peak[n], taut)
            area[n] = 0.5 * abs(inside)


_kernel = compiled(_solve)


def rest_draws(  # noqa: PLR0917 - as bag_draws hands them over
    bag: Bag,
    share: Floats,
    scale: Floats,
    constants: BagConstants,
    ring_constants: RingConstants,
    stations: int,
) -> BagDraws:
    """As :func:`forestay.mechanics.bag_draws.rest_draws`; the arguments are checked already."""
    draws, springs = share.shape[1], bag.springs
    chain, circle = chain_of(bag=bag, constants=constants, ring_constants=ring_constants, stations=stations)
    radius, prestretch = float(springs.bag_radius_mm), float(springs.prestretch_mm)
    fibre, total = float(springs.fibre_length_mm), float(springs.total_stiffness_mn_per_mm) * scale
    place = places(stations, 2)
    start, load = np.empty(2 * stations), np.empty(2 * stations)
    for row in range(2):
        start[place + row], load[place + row] = circle[row], chain.force_mn[row]
    half_turn = float(np.sin(np.pi / stations))
    spacing, hoop_share = 2 * radius * half_turn, total / stations * prestretch / (2 * half_turn)
    hoop_share = hoop_share / constants.hoop_stiffness_mn
    strain = [strain_at(float(v), constants.toe_strain, constants.slack_resistance) for v in np.unique(hoop_share)]
    rest = spacing / (1 + np.interp(hoop_share, np.unique(hoop_share), strain))
    scalars = np.stack(
        [rest, spacing / (1 + hoop_share), np.full(draws, radius + fibre), np.full(draws, fibre - prestretch)]
    )
    bends = bag.ring is not None
    covered = chain.hoop.covered if bends else np.zeros(stations)
    hoop = np.array([constants.hoop_stiffness_mn, constants.toe_strain, constants.slack_resistance])
    same = (
        place,
        np.ascontiguousarray(loop.station_directions(stations)),
        hoop,
        covered,
        chain.bending_mn_mm if bends else np.zeros(stations),
        float(chain.free_turn_rad),
        load,
        float(chain.torque_mn_mm) / stations,
        rest_angles(stations, 2),
    )
    hour = hours_of(loop.station_clocks(stations))
    given = (start, np.ascontiguousarray(share), hour, total, scalars, total * prestretch, float(np.abs(circle).max()))
    centre, loads, peak = np.zeros((2, draws)), np.zeros((HOUR_COUNT, draws)), np.zeros(draws)
    area, iterations, converged = np.zeros(draws), np.zeros(draws, dtype=np.int64), np.zeros(draws, dtype=np.bool_)
    if draws:
        shared_out(_kernel, draws, (same, given, (centre, loads, peak, area, iterations, converged)), step=LANES_CHUNK)
    whole = 0.5 * stations * float(np.sin(2 * np.pi / stations)) * radius**2
    at_rest = total * prestretch / HOUR_COUNT * share.sum(axis=0)
    held = converged & (loads.sum(axis=0) >= springs.slack_share * at_rest)
    held &= area >= constants.collapse_area_share * whole
    beyond = ~converged & (bag.load is not None and bag.load.turns)
    state = np.where(held, "held", np.where(beyond, "overloaded", "collapsed"))
    state = np.where(share.any(axis=0), state, "unsupported")
    nothing = ~share.any(axis=0)
    for values in (centre, loads, peak):
        values[..., nothing] = 0.0
    converged |= nothing
    return BagDraws(state, centre[0], centre[1], loads, peak, iterations, converged)


def warm() -> None:
    """Compile the kernel, by one draw without load."""
    springs = ZonuleParameters(1.0, 1.0, 0.25, 1.0, 0.0)
    bag = Bag((1.0,) * HOUR_COUNT, springs, "empty", Ring(2.0, 1.0, None))
    constants, rings = BagConstants(1.0, 0.25, 0.25, 1.0, 0.0), RingConstants(2.0, (1.0, 2.0), (1.0, 2.0))
    rest_draws(bag, np.ones((HOUR_COUNT, 1)), np.ones(1), constants, rings, 2 * HOUR_COUNT)
