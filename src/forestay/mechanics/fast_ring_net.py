"""Compiled kernels of open rings in a bag: where their points lie, what they touch, and the energy of it all.

``u`` are the unknowns: the wall's (two a station, the ring of stations folded flat), then each arc's. ``given`` is what
does not change (see :mod:`forestay.mechanics.fast_ring`), ``known`` (A, P, :) what is known of each point of each arc at
one ``u``, ``rub`` (A, P, :) its friction and contact's lead, ``points`` both: few arrays, since a compiler takes long over many. Laws are
those of :mod:`forestay.mechanics.ring_contact` and :mod:`forestay.mechanics.open_ring`.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from forestay.mechanics import ring_contact
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import derivatives, energy, toe_law
from forestay.mechanics.open_ring import POSE
from forestay.mechanics.zonule import Floats

KNOWN_GRID = (0, 2, 4, 5, 8, 11, 14, 16, 18, 20, 21)
"""Where each part begins in the last axis of ``known``."""
AT, WAY, PLACE, STATION, SHARE, SLOPE, TANGENT, BEND, NORMAL, GAP, KNOWN = KNOWN_GRID
RUB_GRID = (0, 1, 3, 6, 9, 10)
"""The same of ``rub``."""
MOST, ALONG, HELD_STATION, HELD_SHARE, LEAD, RUB = RUB_GRID
COUNT, KNOTS, BASE, FIRST, ARC = range(5)  # columns of ``arc_at``
FREE, PIECE, TURN = range(3)  # of ``arc``, the turns following
PINS_GRID = (0, 1, 2, 4, 5, 6)
"""The same of ``pins``."""
ROW, POINT, ANCHOR, STIFF, LENGTH, HELD = PINS_GRID
GRIP, POSED, HOLD, GRIPPED = (0, 1, 1 + POSE, 1 + 2 * POSE)  # of ``grips``
FRICTION, MOVING, LAW = range(3)  # of ``law``
COUNTS_GRID = 5  # numbers with which ``whole`` begins

FIRM, TOE_MM = ring_contact.CONTACT_LIMIT_MN_PER_MM, ring_contact.TOE_TOLERANCE_MM
STICK_MM = ring_contact.STICK_TOLERANCE_MM
FOOT_STEPS, FOOT_TOLERANCE = ring_contact.FOOT_STEPS, ring_contact.FOOT_TOLERANCE
SHORT_LIMIT = 1e-12  # length below which nothing is divided by it


def _opened(flat: Floats, whole: Any) -> Any:
    """The net of springs of the wall as :mod:`forestay.mechanics.fast_net` takes it; ``whole`` begins with how many there
    are of each part."""
    strips, ties, fibres, bends, count = whole[0], whole[1], whole[2], whole[3], whole[4]
    a = strips * 3
    b = a + strips
    c = b + strips * 2
    d = c + ties * 3
    e = d + fibres * 6
    f = e + bends * 2
    g = f + count
    h = g + count
    i = h + count
    j = i + 3 * (count // 2)
    k = COUNTS_GRID
    m = k + 2 * strips
    n = m + 2 * ties
    o = n + 2 * fibres
    return (
        flat[:a].reshape((strips, 3)), flat[a:b], whole[k:m].reshape((strips, 2)), flat[b:c].reshape((strips, 2)),
        flat[c:d].reshape((ties, 3)), whole[m:n].reshape((ties, 2)), flat[d:e].reshape((fibres, 6)),
        whole[n:o].reshape((fibres, 2)), flat[e:f].reshape((bends, 2)), whole[o : o + 3 * bends].reshape((bends, 3)),
        flat[f:g], flat[g:h], flat[h:i], flat[j], flat[i:j].reshape((count // 2, 3)),
    )  # fmt: skip


opened = compiled(_opened, part=True)


def _wall_energy(u: Floats, flat: Floats, whole: Any) -> float:
    """Energy of the bag's equator."""
    return float(energy(u, opened(flat, whole)))


def _wall_slope(u: Floats, flat: Floats, whole: Any, gradient: Floats, band: Floats) -> None:
    """Gradient and band of the bag's equator."""
    derivatives(u, opened(flat, whole), gradient, band)


wall_energy, wall_slope = compiled(_wall_energy, part=True), compiled(_wall_slope, part=True)


def _lay_out(u: Floats, arc_at: Any, arc: Any, known: Any) -> None:
    """Points and directions of every arc."""
    for a in range(arc_at.shape[0]):
        first, here, count = arc_at[a, FIRST], arc_at[a, BASE], arc_at[a, COUNT]
        for m in range(count - 1):
            theta = arc[a, m, FREE]
            for k in range(arc.shape[2] - TURN):
                if arc[a, m, TURN + k] != 0.0:
                    theta += arc[a, m, TURN + k] * u[first + 2 + k]
            known[a, m, WAY], known[a, m, WAY + 1] = math.cos(theta), math.sin(theta)
        for i in range(2):
            known[a, here, AT + i] = u[first + i]
            for m in range(here, count - 1):
                known[a, m + 1, AT + i] = known[a, m, AT + i] + arc[a, m, PIECE] * known[a, m, WAY + i]
            for m in range(here - 1, -1, -1):
                known[a, m, AT + i] = known[a, m + 1, AT + i] - arc[a, m, PIECE] * known[a, m, WAY + i]


lay_out = compiled(_lay_out, part=True)


def _nearest(u: Floats, x: float, y: float, fold: Any) -> float:
    """Place on the wall of the station nearest to a point."""
    best, least = 0, np.inf
    for s in range(fold.shape[0]):
        dx, dy = x - u[fold[s]], y - u[fold[s] + 1]
        away = dx * dx + dy * dy
        if away < least:
            best, least = s, away
    return best + 0.5


nearest = compiled(_nearest, part=True)


def _foot(u: Floats, fold: Any, at: Floats) -> None:
    """The foot of one point on the wall, from the place it has."""
    stations = fold.shape[0]
    for _ in range(FOOT_STEPS):
        cell = math.floor(at[PLACE])
        part = at[PLACE] - cell
        rest = 1 - part
        middle = int(cell) % stations
        before, after = (middle - 1) % stations, (middle + 1) % stations
        at[STATION], at[STATION + 1], at[STATION + 2] = before, middle, after
        at[SHARE], at[SHARE + 1], at[SHARE + 2] = 0.5 * rest * rest, 0.5 + part * rest, 0.5 * part * part
        at[SLOPE], at[SLOPE + 1], at[SLOPE + 2] = -rest, rest - part, part
        one, two, three = fold[before], fold[middle], fold[after]
        square, pull, across = 0.0, 0.0, 0.0
        for i in range(2):
            x, y, z = u[one + i], u[two + i], u[three + i]
            tangent = at[SLOPE] * x + at[SLOPE + 1] * y + at[SLOPE + 2] * z
            off = at[SHARE] * x + at[SHARE + 1] * y + at[SHARE + 2] * z - at[AT + i]
            at[TANGENT + i], at[BEND + i] = tangent, x - 2 * y + z
            square += tangent * tangent
            pull += tangent * off
            across += at[BEND + i] * off
            at[NORMAL + i] = off
        step = -pull / max(square + across, 0.25 * square)
        length = math.sqrt(square)
        x, y = at[NORMAL], at[NORMAL + 1]
        at[NORMAL], at[NORMAL + 1] = -at[TANGENT + 1] / length, at[TANGENT] / length
        at[GAP] = at[NORMAL] * x + at[NORMAL + 1] * y
        if not abs(step) > FOOT_TOLERANCE:
            break
        at[PLACE] += min(max(step, -1.0), 1.0)


foot = compiled(_foot, part=True)


def _look_on(u: Floats, given: Any, known: Any) -> None:
    """Everything about the points at ``u``; feet begin where they were."""
    fold, arc_at = given[2], given[3]
    lay_out(u, arc_at, given[4], known)
    for a in range(arc_at.shape[0]):
        for p in range(arc_at[a, COUNT]):
            foot(u, fold, known[a, p])


look_on = compiled(_look_on, part=True)


def _look(u: Floats, given: Any, known: Any) -> None:
    """The same; feet begin at the nearest station."""
    fold, arc_at = given[2], given[3]
    lay_out(u, arc_at, given[4], known)
    for a in range(arc_at.shape[0]):
        for p in range(arc_at[a, COUNT]):
            known[a, p, PLACE] = nearest(u, known[a, p, AT], known[a, p, AT + 1], fold)
            foot(u, fold, known[a, p])


look = compiled(_look)


def _push(gap: float) -> tuple[float, float, float]:
    """Energy, push and stiffness of contact."""
    force, stored, slope = toe_law(max(-gap, 0.0), TOE_MM, 0.0)
    return FIRM * stored, FIRM * force, FIRM * slope


push = compiled(_push, part=True)


def _slip(u: Floats, fold: Any, at: Floats, held: Floats) -> float:
    """Slip of a point along the wall from the place that it rubs on."""
    total = 0.0
    for i in range(2):
        off = at[AT + i]
        for k in range(3):
            off -= held[HELD_SHARE + k] * u[fold[int(held[HELD_STATION + k])] + i]
        total += held[ALONG + i] * off
    return total


slip = compiled(_slip, part=True)


def _law(slipped: float, limit: float, moving: float) -> tuple[float, float, float]:
    """Energy, force along the wall and stiffness of friction."""
    if moving > 0:
        return limit * slipped, limit, 0.0
    reach = math.sqrt(slipped * slipped + STICK_MM * STICK_MM)
    return limit * (reach - STICK_MM), limit * slipped / reach, limit * STICK_MM * STICK_MM / (reach * reach * reach)


friction_law = compiled(_law, part=True)


def _reach(at: Floats, pin: Floats) -> tuple[float, float, float, float]:
    """Stretch of a suture, its direction from the sclera, and its length."""
    x, y = at[AT] - pin[ANCHOR], at[AT + 1] - pin[ANCHOR + 1]
    length = max(math.sqrt(x * x + y * y), SHORT_LIMIT)
    return max(length - pin[LENGTH], 0.0), x / length, y / length, length


pin_reach = compiled(_reach, part=True)


def _whole(u: Floats, given: Any, points: Any) -> float:
    """Energy of bag, zonule, arcs, sutures, grips and loads, with contact, and with friction as it stands."""
    flat, whole, fold, arc_at, _, bending, pins, grips, law = given
    known, rub = points
    total = wall_energy(u[: 2 * fold.shape[0]], flat, whole)
    for a in range(arc_at.shape[0]):
        first = arc_at[a, FIRST]
        for i in range(POSE, POSE + arc_at[a, KNOTS]):
            for j in range(POSE, POSE + arc_at[a, KNOTS]):
                total += 0.5 * bending[a, i, j] * u[first + i] * u[first + j]
        for p in range(arc_at[a, COUNT]):
            total += push(known[a, p, GAP] - rub[a, p, LEAD])[0]
            if rub[a, p, MOST] != 0.0:
                total += friction_law(slip(u, fold, known[a, p], rub[a, p]), rub[a, p, MOST], law[MOVING])[0]
    for n in range(pins.shape[0]):
        stretch = pin_reach(known[int(pins[n, ROW]), int(pins[n, POINT])], pins[n])[0]
        total += 0.5 * pins[n, STIFF] * stretch * stretch
    for n in range(grips.shape[0]):
        first = arc_at[int(grips[n, GRIP]), FIRST]
        for i in range(POSE):
            off = u[first + i] - grips[n, POSED + i]
            total += 0.5 * grips[n, HOLD + i] * off * off
    return float(total)


whole_energy = compiled(_whole, part=True)


def _rubbed(given: Any, points: Any) -> None:
    """Friction's limits and directions brought up to date."""
    arc_at, law = given[3], given[8]
    known, rub = points
    for a in range(arc_at.shape[0]):
        for p in range(arc_at[a, COUNT]):
            rub[a, p, MOST] = law[FRICTION] * push(known[a, p, GAP] - rub[a, p, LEAD])[1]
            x, y = known[a, p, TANGENT], known[a, p, TANGENT + 1]
            length = math.sqrt(x * x + y * y)
            rub[a, p, ALONG], rub[a, p, ALONG + 1] = x / length, y / length
            if law[MOVING] > 0:
                for k in range(3):
                    rub[a, p, HELD_STATION + k] = known[a, p, STATION + k]
                    rub[a, p, HELD_SHARE + k] = known[a, p, SHARE + k]


bring_up = compiled(_rubbed, part=True)
