"""Compiled kernels of one closed chain for several draws side by side: the last axis of every array is the draw.

The processor works on a handful of draws at once in each step; the band of the folded chain is factored for all of them
in one pass. Laws are those of :mod:`forestay.mechanics.loop_assembly`.
"""

from __future__ import annotations

import math
from typing import Any

from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.fast_net import TINY_LIMIT, clear, fill, toe_law
from forestay.mechanics.zonule import Floats

LANES_CHUNK = 16  # draws side by side
HALF_STEPS = 9  # how far apart coupled unknowns of the folded chain lie at most
WIDE_STEPS = HALF_STEPS + 1


def _turns(at: Floats, places: Any, free_turn: float, change: Floats) -> None:
    """Turning angle less that of the free ring, at each station (N, lanes)."""
    count = places.shape[0]
    for s in range(count):
        h, i, j = places[s - 1], places[s], places[(s + 1) % count]
        for w in range(LANES_CHUNK):
            bx, by = at[i, w] - at[h, w], at[i + 1, w] - at[h + 1, w]
            ax, ay = at[j, w] - at[i, w], at[j + 1, w] - at[i + 1, w]
            change[s, w] = math.atan2(bx * ay - by * ax, bx * ax + by * ay) - free_turn


turns = compiled(_turns, part=True)


def _energy(at: Floats, same: Any, own: Any, change: Floats, total: Floats) -> None:
    """Energy of every lane into ``total`` (lanes,); see :func:`_derivatives` for the rest."""
    places, outward, hoop, covered, bend, free_turn, load, turn, rest_angle = same
    stiff, scalars = own
    count, unknowns = places.shape[0], at.shape[0]
    fill(total, 0.0)
    if bend[0] > 0 or bend[count - 1] > 0 or bend[count // 2] > 0:
        turns(at, places, free_turn, change)
        for s in range(count):
            for w in range(LANES_CHUNK):
                total[w] += 0.5 * bend[s] * change[s, w] * change[s, w]
    for s in range(count):
        i, j = places[s], places[(s + 1) % count]
        firm, free = hoop[0] * covered[s], hoop[0] * (1 - covered[s])
        for w in range(LANES_CHUNK):
            dx, dy = at[j, w] - at[i, w], at[j + 1, w] - at[i + 1, w]
            length = math.sqrt(dx * dx + dy * dy)
            rest, bilateral = scalars[0, w], scalars[1, w]
            stretch = length / bilateral - 1
            total[w] += free * rest * toe_law(length / rest - 1, hoop[1], hoop[2])[1]
            total[w] += 0.5 * firm * bilateral * stretch * stretch
            rx, ry = at[i, w] - scalars[2, w] * outward[0, s], at[i + 1, w] - scalars[2, w] * outward[1, s]
            taut = max(math.sqrt(rx * rx + ry * ry) - scalars[3, w], 0.0)
            total[w] += 0.5 * stiff[s, w] * taut * taut
    for u in range(unknowns):
        for w in range(LANES_CHUNK):
            total[w] -= load[u] * at[u, w]
    if turn != 0.0:
        for s in range(count):
            u, cos, sin = places[s], rest_angle[s, 1], rest_angle[s, 2]
            for w in range(LANES_CHUNK):
                total[w] -= turn * math.atan2(at[u + 1, w] * cos - at[u, w] * sin, at[u, w] * cos + at[u + 1, w] * sin)


energy = compiled(_energy, part=True)


def _add_symmetric(band: Floats, i: int, w: int, block: tuple[float, float, float]) -> None:
    """Add a symmetric block (xx, xy, yy) at unknowns i, i + 1 of lane w."""
    band[i, HALF_STEPS, w] += block[0]
    band[i + 1, HALF_STEPS - 1, w] += block[1]
    band[i + 1, HALF_STEPS, w] += block[2]


add_symmetric = compiled(_add_symmetric, part=True, inline="always")


def _take_coupling(band: Floats, place: tuple[int, int], w: int, block: tuple[float, float, float]) -> None:
    """Take a symmetric block off the coupling of unknowns hi, hi + 1 with lo, lo + 1 of lane w."""
    hi, lo = place
    left = HALF_STEPS - hi + lo
    band[hi, left, w] -= block[0]
    band[hi, left + 1, w] -= block[1]
    band[hi + 1, left - 1, w] -= block[1]
    band[hi + 1, left, w] -= block[2]


take_coupling = compiled(_take_coupling, part=True, inline="always")


def _derivatives(at: Floats, same: Any, own: Any, change: Floats, out: Any) -> None:
    """Gradient and lower band of every lane.

    ``same`` for all draws: first unknown of each station, outward directions, hoop (stiffness, toe, slack), covered
    share of segments, bending stiffness and free turn, loads, turning moment, resting directions. ``own`` (.., lanes):
    stiffness of each fibre; and rest length, rest length under a ring, anchor's radius, free length.
    """
    places, outward, hoop, covered, bend, free_turn, load, turn, _ = same
    stiff, scalars = own
    gradient, band, swing = out
    count = places.shape[0]
    for u in range(at.shape[0]):
        clear(band[u])
        fill(gradient[u], -load[u])
    for s in range(count):
        i, j = places[s], places[(s + 1) % count]
        hi, lo = max(i, j), min(i, j)
        firm, free = hoop[0] * covered[s], hoop[0] * (1 - covered[s])
        for w in range(LANES_CHUNK):
            dx, dy = at[j, w] - at[i, w], at[j + 1, w] - at[i + 1, w]
            length = max(math.sqrt(dx * dx + dy * dy), TINY_LIMIT)
            rest, bilateral = scalars[0, w], scalars[1, w]
            share, _, slope = toe_law(length / rest - 1, hoop[1], hoop[2])
            tension = free * share + firm * (length / bilateral - 1)
            stiffness = free * slope / rest + firm / bilateral
            ux, uy, side = dx / length, dy / length, tension / length
            over = stiffness - side
            block = (over * ux * ux + side, over * ux * uy, over * uy * uy + side)
            gradient[i, w] -= tension * ux
            gradient[i + 1, w] -= tension * uy
            gradient[j, w] += tension * ux
            gradient[j + 1, w] += tension * uy
            add_symmetric(band, i, w, block)
            add_symmetric(band, j, w, block)
            take_coupling(band, (hi, lo), w, block)
            rx, ry = at[i, w] - scalars[2, w] * outward[0, s], at[i + 1, w] - scalars[2, w] * outward[1, s]
            reach = max(math.sqrt(rx * rx + ry * ry), TINY_LIMIT)
            taut = max(reach - scalars[3, w], 0.0)
            pull = stiff[s, w] * taut
            ux, uy, side = rx / reach, ry / reach, pull / reach
            over = (stiff[s, w] if taut > 0 else 0.0) - side
            gradient[i, w] += pull * ux
            gradient[i + 1, w] += pull * uy
            add_symmetric(band, i, w, (over * ux * ux + side, over * ux * uy, over * uy * uy + side))
    if bend[0] > 0 or bend[count - 1] > 0 or bend[count // 2] > 0:
        turns(at, places, free_turn, change)
        bending(at, (places, bend, change, swing), gradient, band)
    if turn != 0.0:
        for s in range(count):
            u = places[s]
            for w in range(LANES_CHUNK):
                x, y = at[u, w], at[u + 1, w]
                square = x * x + y * y
                gradient[u, w] += turn * y / square
                gradient[u + 1, w] -= turn * x / square
                bent = turn / (square * square)
                mixed, twice = bent * (y * y - x * x), 2 * bent * x * y
                add_symmetric(band, u, w, (-twice, -mixed, twice))


def _bending(at: Floats, given: Any, gradient: Floats, band: Floats) -> None:
    """Turning angles between neighbouring segments: gradient and Hessian. ``swing`` (6, lanes): room for it."""
    places, bend, change, swing = given
    count = places.shape[0]
    for s in range(count):
        h, i, j = places[s - 1], places[s], places[(s + 1) % count]
        where = (h, h + 1, i, i + 1, j, j + 1)
        for w in range(LANES_CHUNK):
            bx, by = at[i, w] - at[h, w], at[i + 1, w] - at[h + 1, w]
            ax, ay = at[j, w] - at[i, w], at[j + 1, w] - at[i + 1, w]
            square_b, square_a = bx * bx + by * by, ax * ax + ay * ay
            moment = bend[s] * change[s, w]
            swing[0, w], swing[1, w] = -by / square_b, bx / square_b
            swing[4, w], swing[5, w] = -ay / square_a, ax / square_a
            swing[2, w], swing[3, w] = -swing[4, w] - swing[0, w], -swing[5, w] - swing[1, w]
            after = moment / (square_a * square_a)
            block = (2 * after * ax * ay, after * (ay * ay - ax * ax), -2 * after * ax * ay)
            add_symmetric(band, i, w, block)
            add_symmetric(band, j, w, block)
            take_coupling(band, (max(i, j), min(i, j)), w, block)
            before = -moment / (square_b * square_b)
            block = (2 * before * bx * by, before * (by * by - bx * bx), -2 * before * bx * by)
            add_symmetric(band, h, w, block)
            add_symmetric(band, i, w, block)
            take_coupling(band, (max(h, i), min(h, i)), w, block)
        for p in range(6):
            row = where[p]
            for w in range(LANES_CHUNK):
                gradient[row, w] += bend[s] * change[s, w] * swing[p, w]
            for q in range(6):
                if where[q] <= row:
                    column = HALF_STEPS - row + where[q]
                    for w in range(LANES_CHUNK):
                        band[row, column, w] += bend[s] * swing[p, w] * swing[q, w]


bending = compiled(_bending, part=True)
derivatives = compiled(_derivatives, part=True)


def _factor(band: Floats, shift: Floats, out: Floats, sound: Floats) -> None:
    """Cholesky factors of all lanes; ``sound`` (lanes,) tells by 1 or 0 which matrices are positive definite."""
    count = band.shape[0]
    fill(sound, 1.0)
    for i in range(count):
        first = max(0, i - HALF_STEPS)
        for j in range(first, i):
            total = out[i, HALF_STEPS - i + j]
            for w in range(LANES_CHUNK):
                total[w] = band[i, HALF_STEPS - i + j, w]
            for k in range(max(first, j - HALF_STEPS), j):
                for w in range(LANES_CHUNK):
                    total[w] -= out[i, HALF_STEPS - i + k, w] * out[j, HALF_STEPS - j + k, w]
            for w in range(LANES_CHUNK):
                total[w] *= out[j, HALF_STEPS, w]
        diagonal = out[i, HALF_STEPS]
        for w in range(LANES_CHUNK):
            diagonal[w] = band[i, HALF_STEPS, w] + shift[w]
        for k in range(first, i):
            for w in range(LANES_CHUNK):
                diagonal[w] -= out[i, HALF_STEPS - i + k, w] * out[i, HALF_STEPS - i + k, w]
        for w in range(LANES_CHUNK):
            fine = diagonal[w] > TINY_LIMIT
            sound[w] = sound[w] if fine else 0.0
            diagonal[w] = 1 / math.sqrt(diagonal[w] if fine else 1.0)


factor = compiled(_factor, fastmath={"contract"})


def _substitute(out: Floats, right: Floats) -> None:
    """Solve all lanes in place with the factors of :func:`_factor`."""
    count = out.shape[0]
    for i in range(count):
        for k in range(max(0, i - HALF_STEPS), i):
            for w in range(LANES_CHUNK):
                right[i, w] -= out[i, HALF_STEPS - i + k, w] * right[k, w]
        for w in range(LANES_CHUNK):
            right[i, w] *= out[i, HALF_STEPS, w]
    for i in range(count - 1, -1, -1):
        for w in range(LANES_CHUNK):
            right[i, w] *= out[i, HALF_STEPS, w]
        for k in range(max(0, i - HALF_STEPS), i):
            for w in range(LANES_CHUNK):
                right[k, w] -= out[i, HALF_STEPS - i + k, w] * right[i, w]


substitute = compiled(_substitute, part=True, fastmath={"contract"})
