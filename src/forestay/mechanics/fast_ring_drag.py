"""Compiled: what friction's growth and turning add to the Hessian of open rings in a bag. It is not symmetric, so that a
full step with it is solved on the whole matrix, by elimination.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_ring_net import (
    ALONG,
    AT,
    BEND,
    COUNT,
    FIRST,
    FRICTION,
    GAP,
    HELD_SHARE,
    HELD_STATION,
    KNOTS,
    LEAD,
    MOST,
    MOVING,
    NORMAL,
    SHARE,
    SLOPE,
    STATION,
    TANGENT,
    friction_law,
    push,
    slip,
)  # fmt: skip
from forestay.mechanics.fast_ring_system import spread_row
from forestay.mechanics.open_ring import POSE
from forestay.mechanics.ring_contact import LOCAL
from forestay.mechanics.zonule import Floats

SMALL_LIMIT = 1e-12  # force below which nothing is divided by it


def _unfold(system: Any, full: Floats) -> None:
    """The whole Hessian from its parts."""
    band, side, _ = system
    wall, half = band.shape[0], band.shape[1] - 1
    for i in range(wall):
        for j in range(wall):
            full[i, j] = 0.0
    for i in range(wall):
        for j in range(max(0, i - half), i + 1):
            full[i, j] = band[i, half - i + j]
            full[j, i] = band[i, half - i + j]
    for m in range(wall, full.shape[0]):
        for i in range(full.shape[0]):
            full[m, i] = side[1 + m - wall, i]
            if i < wall:
                full[i, m] = side[1 + m - wall, i]


unfold = compiled(_unfold, part=True)


def _gauss(full: Floats, right: Floats) -> bool:
    """Solve in place by elimination with exchange of rows; False where the matrix has no inverse."""
    size = full.shape[0]
    for k in range(size):
        best = k
        for i in range(k + 1, size):
            if abs(full[i, k]) > abs(full[best, k]):
                best = i
        if not abs(full[best, k]) > 0:
            return False
        if best != k:
            for j in range(k, size):
                full[k, j], full[best, j] = full[best, j], full[k, j]
            right[k], right[best] = right[best], right[k]
        inverse = 1 / full[k, k]
        for i in range(k + 1, size):
            if full[i, k] != 0.0:
                share = full[i, k] * inverse
                for j in range(k + 1, size):
                    full[i, j] -= share * full[k, j]
                right[i] -= share * right[k]
    for k in range(size - 1, -1, -1):
        total = right[k]
        for j in range(k + 1, size):
            total -= full[k, j] * right[j]
        right[k] = total / full[k, k]
    return True


gauss = compiled(_gauss, part=True, fastmath={"reassoc", "contract"})


def _turned(at: Floats, row: Floats) -> None:
    """How far the wall's direction at a point turns with its eight coordinates."""
    square = at[TANGENT] * at[TANGENT] + at[TANGENT + 1] * at[TANGENT + 1]
    curved = at[NORMAL] * at[BEND] + at[NORMAL + 1] * at[BEND + 1]
    factor, length = curved / (square + at[GAP] * curved), math.sqrt(square)
    spread_row(at[TANGENT], at[TANGENT + 1], (at, SHARE), -1.0, row)
    for i in range(2):
        row[i] *= -factor / length
        for k in range(3):
            swung, mine = at[SLOPE + k] * at[NORMAL + i], 2 + 2 * k + i
            row[mine] = (swung - factor * (row[mine] + at[GAP] * swung)) / length


turned = compiled(_turned, part=True)


def _dragged(u: Floats, given: Any, point: Any, stiff: float, ends: Floats) -> None:
    """Friction's growth and turning at one point, over eight coordinates: the force's rows into ``ends[0]`` and
    ``ends[1]``, what they grow with into ``ends[2]`` and ``ends[3]``."""
    fold, law = given[2], given[8]
    at, held = point
    _, force, stick = friction_law(slip(u, fold, at, held), held[MOST], law[MOVING])
    grows = law[FRICTION] * force / max(held[MOST], SMALL_LIMIT) * stiff
    spread_row(held[ALONG], held[ALONG + 1], (held, HELD_SHARE), 1.0, ends[0])
    spread_row(at[NORMAL], at[NORMAL + 1], (at, SHARE), grows, ends[2])
    for i in range(LOCAL):
        ends[1, i], ends[3, i] = 0.0, 0.0
    if law[MOVING] > 0:
        return
    off = 0.0
    for i in range(2):
        laid = 0.0
        for k in range(3):
            laid += held[HELD_SHARE + k] * u[fold[int(held[HELD_STATION + k])] + i]
        off += at[NORMAL + i] * (at[AT + i] - laid)
    x = force * at[NORMAL] + stick * off * held[ALONG]
    y = force * at[NORMAL + 1] + stick * off * held[ALONG + 1]
    spread_row(x, y, (held, HELD_SHARE), 1.0, ends[1])
    turned(at, ends[3])


dragged = compiled(_dragged, part=True)


def _over_all(row: Floats, fold: Any, on: Any, arc: Any, out: Floats) -> None:
    """Eight coordinates of a point as a vector over all unknowns; ``on``, ``arc``: as in :func:`_scatter`."""
    stations, at = on
    moves, first = arc
    for i in range(out.shape[0]):
        out[i] = 0.0
    for m in range(moves.shape[1]):
        out[first + m] = row[0] * moves[0, m] + row[1] * moves[1, m]
    for k in range(3):
        for i in range(2):
            out[fold[int(stations[at + k])] + i] += row[2 + 2 * k + i]


over_all = compiled(_over_all, part=True)


def _add_drag(u: Floats, given: Any, points: Any, moves: Any, full: Floats) -> None:
    """Add friction's growth with the push, and its turning with the wall, to the whole Hessian."""
    fold, arc_at = given[2], given[3]
    known, rub = points
    ends, sides = np.zeros((4, LOCAL)), np.zeros((2, u.shape[0]))
    left, right = sides[0], sides[1]
    for a in range(arc_at.shape[0]):
        size, first = POSE + arc_at[a, KNOTS], arc_at[a, FIRST]
        for p in range(arc_at[a, COUNT]):
            stiff = push(known[a, p, GAP] - rub[a, p, LEAD])[2]
            if not stiff > 0:
                continue
            dragged(u, given, (known[a, p], rub[a, p]), stiff, ends)
            arc = (moves[a, p, :, :size], first)
            for n in range(2):
                over_all(ends[n], fold, (rub[a, p], HELD_STATION), arc, left)
                over_all(ends[2 + n], fold, (known[a, p], STATION), arc, right)
                for i in range(u.shape[0]):
                    if left[i] != 0.0:
                        for j in range(u.shape[0]):
                            full[i, j] += left[i] * right[j]


add_drag = compiled(_add_drag, part=True)
