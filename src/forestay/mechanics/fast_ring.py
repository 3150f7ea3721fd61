"""The compiled counterpart of :mod:`forestay.mechanics.open_ring_solver`: the same steps on plain arrays, but for those on the
forces: where the energy leads to no rest, the other solver is asked."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np

from forestay.mechanics.fast_ring_net import (
    ALONG,
    AT,
    BEND,
    FIRST,
    FREE,
    GAP,
    GRIPPED,
    HELD,
    HELD_SHARE,
    HELD_STATION,
    KNOWN,
    LEAD,
    MOST,
    NORMAL,
    PIECE,
    PLACE,
    RUB,
    SHARE,
    SHORT_LIMIT,
    SLOPE,
    STATION,
    TANGENT,
    TURN,
    WAY,
    look,
)
from forestay.mechanics.fast_ring_step import settle
from forestay.mechanics.fast_ring_system import BAND_NODES
from forestay.mechanics.loop import LoopState, station_directions
from forestay.mechanics.loop_assembly import Assembly, Chain, Hoop, Springs
from forestay.mechanics.network import network_of, places
from forestay.mechanics.open_ring import POSE, Arc, ArcAssembly, Shape
from forestay.mechanics.open_ring_joint import Problem, grip_stiffness
from forestay.mechanics.open_ring_solver import PRESS_STEPS, RESIDUAL, SOFT_RESIDUAL, JointState
from forestay.mechanics.ring_contact import Feet, Friction
from forestay.mechanics.zonule import HOUR_COUNT, Floats


@lru_cache(maxsize=64)
def _arcs(arcs: tuple[Arc, ...], wall: int) -> tuple[Any, Any, Any]:
    """The arcs as the kernels take them, filled up to the longest: whole numbers, free shape with turns, bending."""
    most, widest = max(arc.points for arc in arcs), max(arc.knots for arc in arcs)
    firsts = wall + np.cumsum([0, *(arc.unknowns for arc in arcs)])[:-1]
    at = np.array(
        [(arc.points, arc.knots, arc.base, first) for arc, first in zip(arcs, firsts, strict=True)], dtype=np.int64
    )
    free, bending = np.zeros((len(arcs), most, TURN + 1 + widest)), np.zeros((len(arcs), *(POSE + widest,) * 2))
    for row, arc in enumerate(arcs):
        one = ArcAssembly(arc)
        free[row, : arc.points - 1, FREE] = one.free_rad
        free[row, : arc.points - 1, PIECE] = one.piece_mm
        free[row, : arc.points - 1, TURN : TURN + 1 + arc.knots] = one.turn
        bending[row, : arc.unknowns, : arc.unknowns] = one.bending
    return at, free, bending


def _wall(problem: Problem) -> tuple[Floats, Any]:
    """The wall's net of springs in two arrays."""
    net = network_of(Assembly(problem.chain))
    if net is None:
        raise TypeError("the kernels know the net of every chain")
    counts = [part.shape[0] for part in (net.axial, net.tie, net.fibre, net.bend, net.load)]
    parts = (net.axial, net.firm, net.laws, net.tie, net.fibre, net.bend, net.load, net.bed, net.bed_at, net.rest_angle)
    whole = (np.array(counts), net.ends, net.tie_at, net.fibre_at, net.bend_at)
    flat = np.concatenate([*(part.ravel() for part in parts), [net.turn]])
    return flat, np.concatenate([part.ravel() for part in whole]).astype(np.int64)


def _given(problem: Problem, fold: Any) -> tuple[Any, ...]:
    """All that does not change, as the kernels take it: wall, arcs, sutures, grips, friction."""
    pins = [(p.arc, p.point, *p.anchor_mm, p.stiffness_mn_per_mm, p.free_length_mm) for p in problem.pins]
    grips = [(g.arc, *g.pose, *grip_stiffness(g)) for g in problem.grips]
    law = np.array([problem.friction, problem.moving], dtype=np.float64)
    return (
        *_wall(problem),
        fold,
        *_arcs(problem.arcs, 2 * fold.size),
        np.array(pins, dtype=np.float64).reshape(-1, HELD),
        np.array(grips, dtype=np.float64).reshape(-1, GRIPPED),
        law,
    )


@dataclass(frozen=True)
class Found:
    """Where bag and arcs came to rest: unknowns, shapes and feet, friction and contact's lead as the solver keeps them."""

    bag: LoopState
    unknowns: tuple[Floats, ...]
    shapes: tuple[Shape, ...]
    feet: tuple[Feet, ...]
    friction: tuple[Friction, ...]
    lead_mm: tuple[Floats, ...]


def solve(
    problem: Problem, *, wall_mm: Floats, unknowns: tuple[Floats, ...], first_push_mn: tuple[Floats, ...]
) -> Found:
    """As :func:`forestay.mechanics.open_ring_solver.solve`, for one arc or more."""
    rub = _points(problem, RUB)
    u, given = _start(problem, wall_mm, unknowns)
    known = _points(problem, KNOWN)
    look(u, given, known)
    along = known[..., TANGENT:BEND]
    rub[..., ALONG:HELD_STATION] = along / np.maximum(np.hypot(along[..., :1], along[..., 1:]), SHORT_LIMIT)
    rub[..., HELD_STATION:LEAD] = known[..., STATION:SLOPE]
    for row, pushed in enumerate(first_push_mn):
        rub[row, : pushed.size, MOST] = problem.friction * pushed
    return _found(problem, u, given, (known, rub), PRESS_STEPS)


def solve_on(problem: Problem, *, before: JointState) -> Found:
    """As :func:`forestay.mechanics.open_ring_solver.solve_on`, for one arc or more."""
    rub = _points(problem, RUB)
    for row, (state, lead) in enumerate(zip(before.friction, before.lead_mm, strict=True)):
        parts = [state.limit_mn[None], state.along, state.station, state.share, lead[None]]
        rub[row, : lead.size] = np.concatenate(parts).T
    u, given = _start(problem, before.bag.at_mm, before.unknowns)
    known = _points(problem, KNOWN)
    look(u, given, known)
    return _found(problem, u, given, (known, rub), PRESS_STEPS - 1)


def _points(problem: Problem, columns: int) -> Floats:
    """Room for so many numbers of each point."""
    return np.zeros((len(problem.arcs), max(arc.points for arc in problem.arcs), columns))


def _start(problem: Problem, wall_mm: Floats, unknowns: tuple[Floats, ...]) -> tuple[Floats, tuple[Any, ...]]:
    """The unknowns and all that does not change."""
    fold = places(problem.chain.stations, 2)
    u = np.concatenate([np.zeros(2 * fold.size), *unknowns])
    u[fold], u[fold + 1] = wall_mm
    return u, _given(problem, fold)


def room_for(size: int, wall: int, points: tuple[Floats, Floats], knots: int) -> tuple[Floats, ...]:
    """Arrays that the solver works in: vectors, bands, sides, moves (of the system, of the one tried, and its factor), the
    whole matrix, what is known where it tries, and friction before."""
    known, rub = points
    moves = np.zeros((2, *known.shape[:2], 2, POSE + knots))
    sides = np.zeros((3, 1 + size - wall, size))
    whole = np.zeros((size, size))
    return np.zeros((3, size)), np.zeros((3, wall, BAND_NODES)), sides, moves, whole, known.copy(), rub.copy()


def _found(problem: Problem, u: Floats, given: tuple[Any, ...], points: tuple[Floats, Floats], rounds: int) -> Found:
    """Rest from ``u``: soft contact, then firmer by the lead that its depth asks for; as far as rest is found."""
    known, rub = points
    fold, scale = given[2], float(problem.force_scale_mn)
    room = room_for(u.size, 2 * fold.size, points, max(arc.knots for arc in problem.arcs))
    steps, converged, residual = 0, False, np.inf
    for count in range(rounds):
        if count:
            rub[..., LEAD] = np.maximum(rub[..., LEAD] - known[..., GAP], 0.0)
        tolerance = RESIDUAL * scale if count == rounds - 1 else SOFT_RESIDUAL
        used, converged, residual = settle(u, given, points, room, (tolerance, scale))
        steps += used
        if not converged:
            break
    ends = [int(first) for first in given[3][:, FIRST]] + [u.size]
    bag = LoopState(np.stack([u[fold], u[fold + 1]]), int(steps), bool(converged), float(residual))
    friction, shapes, at_rest = [], [], []
    for row, arc in enumerate(problem.arcs):
        one = rub[row, : arc.points].T
        station = one[HELD_STATION:HELD_SHARE].astype(np.int64)
        along, share = one[ALONG:HELD_STATION], one[HELD_SHARE:LEAD]
        friction.append(Friction(one[MOST], along, station, share, problem.moving))
        there = known[row, : arc.points].T
        shapes.append(Shape(there[AT:WAY], there[WAY:PLACE, :-1]))
        at_rest.append(_feet(there))
    leads = tuple(rub[row, : arc.points, LEAD] for row, arc in enumerate(problem.arcs))
    told = tuple(u[a:b] for a, b in pairwise(ends))
    return Found(bag, told, tuple(shapes), tuple(at_rest), tuple(friction), leads)


def _feet(known: Floats) -> Feet:
    """Feet of one arc's points, as the kernels know them (KNOWN, P)."""
    tangent, bend, normal, gap = known[TANGENT:BEND], known[BEND:NORMAL], known[NORMAL:GAP], known[GAP]
    station, foot = known[STATION:SHARE].astype(np.int64), known[AT:WAY] + gap * normal
    return Feet(known[PLACE], station, known[SHARE:SLOPE], known[SLOPE:TANGENT], foot, tangent, bend, normal, gap)


def warm() -> None:
    """Compile the kernel, by a ring in a small circle that rests."""
    at, count, none = station_directions(2 * HOUR_COUNT), 2 * HOUR_COUNT, np.zeros(0)
    spacing = float(np.hypot(*(at[:, 1] - at[:, 0])))
    springs = Springs(np.zeros(0, dtype=np.int64), np.zeros((2, 0)), none, none, none)
    hoop = Hoop(1.0, 0.5, 0.5, spacing, spacing, np.zeros(count))
    chain = Chain(hoop, springs, np.zeros(count), 0.0, np.zeros((2, count)), 0.0)
    arc = Arc(2.0, 4.0, 1.0, 6, 3, 2)
    laid = ArcAssembly(arc).laid(centre_mm=(0.0, 0.0), radius_mm=0.5, middle_rad=0.0)
    problem = Problem(chain, (arc,), (), (), 0.25, False, 1.0)
    solve(problem, wall_mm=at, unknowns=(laid,), first_push_mn=(np.zeros(arc.points),))
