"""Compiled gradient and Hessian of open rings in a bag, and the factor of a Newton step.

The Hessian is a band (the wall, lower half) and a side: the rows of the arcs' unknowns over all unknowns. Its Cholesky
factor costs little more than that of the wall alone. Row 0 of ``side`` is the gradient.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from forestay.mechanics.fast_band import factor
from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import add, clear
from forestay.mechanics.fast_ring_net import (
    ALONG,
    BASE,
    BEND,
    COUNT,
    FIRST,
    GAP,
    GRIP,
    HELD_SHARE,
    HELD_STATION,
    HOLD,
    KNOTS,
    LEAD,
    MOST,
    MOVING,
    NORMAL,
    PIECE,
    POINT,
    POSED,
    ROW,
    SHARE,
    SLOPE,
    STATION,
    STIFF,
    TANGENT,
    TURN,
    WAY,
    friction_law,
    pin_reach,
    push,
    slip,
    wall_slope,
)
from forestay.mechanics.open_ring import POSE
from forestay.mechanics.ring_contact import LOCAL
from forestay.mechanics.zonule import Floats

BAND_NODES = 10  # width of the wall's lower band, diagonal included: two stations apart, folded


def _jacobian(arc_at: Any, arc: Any, known: Any, moves: Any) -> None:
    """Derivative of the points by the arc's own unknowns."""
    for a in range(arc_at.shape[0]):
        here, count = arc_at[a, BASE], arc_at[a, COUNT]
        for p in range(count):
            moves[a, p, 0, 0], moves[a, p, 1, 1] = 1.0, 1.0
        for k in range(1 + arc_at[a, KNOTS]):
            moves[a, here, 0, 2 + k], moves[a, here, 1, 2 + k] = 0.0, 0.0
            x, y = 0.0, 0.0
            for m in range(here, count - 1):
                x -= known[a, m, WAY + 1] * arc[a, m, TURN + k] * arc[a, m, PIECE]
                y += known[a, m, WAY] * arc[a, m, TURN + k] * arc[a, m, PIECE]
                moves[a, m + 1, 0, 2 + k], moves[a, m + 1, 1, 2 + k] = x, y
            x, y = 0.0, 0.0
            for m in range(here - 1, -1, -1):
                x += known[a, m, WAY + 1] * arc[a, m, TURN + k] * arc[a, m, PIECE]
                y -= known[a, m, WAY] * arc[a, m, TURN + k] * arc[a, m, PIECE]
                moves[a, m, 0, 2 + k], moves[a, m, 1, 2 + k] = x, y


jacobian = compiled(_jacobian, part=True)


def _row(x: float, y: float, on: Any, sign: float, row: Floats) -> None:
    """A direction over the eight coordinates of a contact: the point, then its three stations. ``on``: where their
    shares are, and begin."""
    shares, first = on
    row[0], row[1] = sign * x, sign * y
    for k in range(3):
        row[2 + 2 * k] = -sign * shares[first + k] * x
        row[3 + 2 * k] = -sign * shares[first + k] * y


spread_row = compiled(_row, part=True)


def _touch(at: Floats, force: float, stiff: float, room: Floats) -> None:
    """Contact of one point over its eight coordinates: Hessian into the first eight rows of ``room``, gradient into the
    next; the last three are for rows."""
    square = at[TANGENT] * at[TANGENT] + at[TANGENT + 1] * at[TANGENT + 1]
    curved = at[NORMAL] * at[BEND] + at[NORMAL + 1] * at[BEND + 1]
    firm = square + at[GAP] * curved
    inward, along, swing = room[LOCAL + 1], room[LOCAL + 2], room[LOCAL + 3]
    spread_row(at[NORMAL], at[NORMAL + 1], (at, SHARE), -1.0, inward)
    spread_row(at[TANGENT], at[TANGENT + 1], (at, SHARE), -1.0, along)
    swing[0], swing[1] = 0.0, 0.0
    for k in range(3):
        swing[2 + 2 * k], swing[3 + 2 * k] = at[SLOPE + k] * at[NORMAL], at[SLOPE + k] * at[NORMAL + 1]
    bent, mixed, swung = -force * curved / (square * firm), force / firm, force * at[GAP] / firm
    for i in range(LOCAL):
        room[LOCAL, i] = -force * inward[i]
        for j in range(LOCAL):
            room[i, j] = (
                stiff * inward[i] * inward[j]
                + bent * along[i] * along[j]
                + mixed * (along[i] * swing[j] + swing[i] * along[j])
                + swung * swing[i] * swing[j]
            )


touch = compiled(_touch, part=True)


def _scatter(fold: Any, on: Any, room: Floats, arc: Any, into: Any) -> None:
    """Add one point's eight coordinates (``room`` as :func:`_touch` leaves it) to the system. ``on``: where its stations
    are, and begin; ``arc``: how the point moves with its arc's unknowns, and their first row of ``side``; ``into``: band,
    side, and the point's force with its 2 x 2 block."""
    stations, first = on
    moves, row = arc
    band, side, own = into
    for i in range(2):
        own[i] += room[LOCAL, i]
        for j in range(2):
            own[2 + 2 * i + j] += room[i, j]
    for k in range(3):
        for i in range(2):
            at, mine = fold[int(stations[first + k])] + i, 2 + 2 * k + i
            side[0, at] += room[LOCAL, mine]
            for m in range(moves.shape[1]):
                side[row + m, at] += room[mine, 0] * moves[0, m] + room[mine, 1] * moves[1, m]
            for n in range(3):
                for j in range(2):
                    add(band, at, fold[int(stations[first + n])] + j, room[mine, 2 + 2 * n + j])


scatter = compiled(_scatter, part=True)


def _points(u: Floats, given: Any, points: Any, a: int, into: Any) -> None:
    """Contact, friction and sutures of one arc's points. ``into``: band, side, how the points move, force and block."""
    known, rub = points
    band, side, moves, on = into
    fold, arc_at, pins, law = given[2], given[3], given[6], given[8]
    room = np.zeros((LOCAL + 4, LOCAL))
    row = 1 + arc_at[a, FIRST] - 2 * fold.shape[0]
    size = POSE + arc_at[a, KNOTS]
    for p in range(arc_at[a, COUNT]):
        _, force, stiff = push(known[a, p, GAP] - rub[a, p, LEAD])
        if force > 0:
            touch(known[a, p], force, stiff, room)
            scatter(fold, (known[a, p], STATION), room, (moves[a, p, :, :size], row), (band, side, on[p]))
        if rub[a, p, MOST] > 0:
            _, drag, stick = friction_law(slip(u, fold, known[a, p], rub[a, p]), rub[a, p, MOST], law[MOVING])
            pull = room[LOCAL + 1]
            spread_row(rub[a, p, ALONG], rub[a, p, ALONG + 1], (rub[a, p], HELD_SHARE), 1.0, pull)
            for i in range(LOCAL):
                room[LOCAL, i] = drag * pull[i]
                for j in range(LOCAL):
                    room[i, j] = stick * pull[i] * pull[j]
            scatter(fold, (rub[a, p], HELD_STATION), room, (moves[a, p, :, :size], row), (band, side, on[p]))
    for n in range(pins.shape[0]):
        if int(pins[n, ROW]) == a:
            p = int(pins[n, POINT])
            stretch, x, y, length = pin_reach(known[a, p], pins[n])
            pull = pins[n, STIFF] * stretch
            even, excess = pull / length, (pins[n, STIFF] if stretch > 0 else 0.0) - pull / length
            on[p, 0] += pull * x
            on[p, 1] += pull * y
            on[p, 2] += excess * x * x + even
            on[p, 3] += excess * x * y
            on[p, 4] += excess * x * y
            on[p, 5] += excess * y * y + even


points_of = compiled(_points, part=True)


def _carry(u: Floats, given: Any, known: Any, a: int, into: Any) -> None:
    """What forces on an arc's points, and their stiffness, mean for its unknowns; its bending; its own turning."""
    arc_at, arc, bending = given[3], given[4], given[5]
    _, side, moves, on = into
    count, size, first = arc_at[a, COUNT], POSE + arc_at[a, KNOTS], arc_at[a, FIRST]
    row = 1 + first - 2 * given[2].shape[0]
    for p in range(count):
        for i in range(size):
            mx, my = moves[a, p, 0, i], moves[a, p, 1, i]
            side[0, first + i] += mx * on[p, 0] + my * on[p, 1]
            x, y = mx * on[p, 2] + my * on[p, 4], mx * on[p, 3] + my * on[p, 5]
            if x != 0.0 or y != 0.0:
                for j in range(size):
                    side[row + i, first + j] += x * moves[a, p, 0, j] + y * moves[a, p, 1, j]
    whole_x, whole_y, x, y = 0.0, 0.0, 0.0, 0.0
    for p in range(count):
        whole_x += on[p, 0]
        whole_y += on[p, 1]
    for i in range(size):
        for j in range(size):
            side[0, first + i] += bending[a, i, j] * u[first + j]
            side[row + i, first + j] += bending[a, i, j]
    for m in range(count - 1):
        x += on[m, 0]
        y += on[m, 1]
        beyond_x, beyond_y = (-x, -y) if m < arc_at[a, BASE] else (whole_x - x, whole_y - y)
        weight = -arc[a, m, PIECE] * (beyond_x * known[a, m, WAY] + beyond_y * known[a, m, WAY + 1])
        if weight != 0.0:
            for i in range(size - 2):
                part = weight * arc[a, m, TURN + i]
                if part != 0.0:
                    for j in range(size - 2):
                        side[row + 2 + i, first + 2 + j] += part * arc[a, m, TURN + j]


carry = compiled(_carry, part=True)


def _gather(u: Floats, given: Any, points: Any, system: Any) -> None:
    """Gradient and Hessian over all unknowns into ``system``: band, side, and how the points move."""
    band, side, moves = system
    known = points[0]
    flat, whole, fold, arc_at, arc, _, _, grips, _ = given
    wall = 2 * fold.shape[0]
    clear(side)
    wall_slope(u[:wall], flat, whole, side[0, :wall], band)
    jacobian(arc_at, arc, known, moves)
    on = np.zeros((known.shape[1], 6))
    for a in range(arc_at.shape[0]):
        clear(on)
        points_of(u, given, points, a, (band, side, moves, on))
        carry(u, given, known, a, (band, side, moves, on))
    for n in range(grips.shape[0]):
        first = arc_at[int(grips[n, GRIP]), FIRST]
        for i in range(POSE):
            side[0, first + i] += grips[n, HOLD + i] * (u[first + i] - grips[n, POSED + i])
            side[1 + first - wall + i, first + i] += grips[n, HOLD + i]


gather = compiled(_gather, part=True)


def _firm(system: Any, scales: Floats, shift: float, factors: Any) -> bool:
    """Factor of the shifted Hessian into ``factors``: as the band, and as the side without its row 0; False where it is
    not positive definite."""
    band, side, _ = system
    lower, inner = factors
    if not factor(band, shift, lower):
        return False
    wall, half = band.shape[0], band.shape[1] - 1
    for m in range(inner.shape[0]):
        for i in range(wall):
            total = side[1 + m, i]
            for k in range(max(0, i - half), i):
                total -= lower[i, half - i + k] * inner[m, k]
            inner[m, i] = total * lower[i, half]
        for n in range(m):
            total = side[1 + m, wall + n]
            for i in range(wall + n):
                total -= inner[m, i] * inner[n, i]
            inner[m, wall + n] = total * inner[n, wall + n]
        total = side[1 + m, wall + m] + shift * scales[wall + m]
        for i in range(wall + m):
            total -= inner[m, i] * inner[m, i]
        if not total > 0:
            return False
        inner[m, wall + m] = 1 / math.sqrt(total)  # the diagonal is kept as its inverse
    return True


firm_up = compiled(_firm, part=True, fastmath={"reassoc", "contract"})


def _step(factors: Any, right: Floats) -> None:
    """Solve in place with the factor of :func:`firm_up`."""
    lower, inner = factors
    wall, half = lower.shape[0], lower.shape[1] - 1
    for i in range(wall):
        total = right[i]
        for k in range(max(0, i - half), i):
            total -= lower[i, half - i + k] * right[k]
        right[i] = total * lower[i, half]
    for m in range(inner.shape[0]):
        total = right[wall + m]
        for i in range(wall + m):
            total -= inner[m, i] * right[i]
        right[wall + m] = total * inner[m, wall + m]
    for m in range(inner.shape[0] - 1, -1, -1):
        right[wall + m] *= inner[m, wall + m]
        for i in range(wall + m):
            right[i] -= inner[m, i] * right[wall + m]
    for i in range(wall - 1, -1, -1):
        right[i] *= lower[i, half]
        for k in range(max(0, i - half), i):
            right[k] -= lower[i, half - i + k] * right[i]


newton = compiled(_step, part=True, fastmath={"reassoc", "contract"})
