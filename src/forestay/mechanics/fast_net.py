"""Compiled kernels of one net of springs: energy, gradient, banded stiffness, banded factor.

Unknowns are numbered so that stations which are coupled lie close together (the closed chain is folded flat): the
stiffness is then a plain band. Laws are those of :mod:`forestay.mechanics.loop_assembly`.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.zonule import Floats

Ints = NDArray[np.int64]

SIXTH = 1 / 6  # integral of a quadratic toe
TINY_LIMIT = 1e-300  # a length below it is none


def _toe(strain: float, toe: float, slack: float) -> tuple[float, float, float]:
    inside = min(max(strain, 0.0), toe)
    beyond = max(strain - toe, 0.0)
    tension = inside * inside / (2 * toe) + beyond + slack * strain
    stored = SIXTH * inside * inside * inside / toe + beyond * (toe + beyond) * 0.5 + slack * strain * strain * 0.5
    return tension, stored, inside / toe + slack


toe_law = compiled(_toe, part=True)


def _energy(at: Floats, net: Any) -> float:
    """Energy of the unknowns ``at``. ``net``: the fields of :class:`forestay.mechanics.fast_loop.Network`, in order."""
    axial, firm, ends, laws, tie, tie_at, fibre, fibre_at, bend, bend_at, load, bed, bed_at, turn, rest_angle = net
    total = 0.0
    for m in range(ends.shape[0]):
        i, j = ends[m, 0], ends[m, 1]
        dx, dy = at[j] - at[i], at[j + 1] - at[i + 1]
        length = math.sqrt(dx * dx + dy * dy)
        total += axial[m, 0] * axial[m, 1] * toe_law(length / axial[m, 1] - 1, laws[m, 0], laws[m, 1])[1]
        if firm[m] > 0:
            change = length / axial[m, 2] - 1
            total += 0.5 * firm[m] * axial[m, 2] * change * change
    for t in range(tie.shape[0]):
        i, j = tie_at[t, 0], tie_at[t, 1]
        dx, dy = at[j] - at[i] - tie[t, 1], at[j + 1] - at[i + 1] - tie[t, 2]
        total += 0.5 * tie[t, 0] * (dx * dx + dy * dy)
    for f in range(fibre.shape[0]):
        i, j, share = fibre_at[f, 0], fibre_at[f, 1], fibre[f, 5]
        rx = (1 - share) * at[i] + share * at[j] - fibre[f, 0]
        ry = (1 - share) * at[i + 1] + share * at[j + 1] - fibre[f, 1]
        stretch = math.sqrt(rx * rx + ry * ry + fibre[f, 2] * fibre[f, 2]) - fibre[f, 4]
        if stretch > 0:
            total += 0.5 * fibre[f, 3] * stretch * stretch
    for b in range(bend_at.shape[0]):
        h, i, j = bend_at[b, 0], bend_at[b, 1], bend_at[b, 2]
        bx, by = at[i] - at[h], at[i + 1] - at[h + 1]
        ax, ay = at[j] - at[i], at[j + 1] - at[i + 1]
        change = math.atan2(bx * ay - by * ax, bx * ax + by * ay) - bend[b, 1]
        total += 0.5 * bend[b, 0] * change * change
    for u in range(at.shape[0]):
        total -= load[u] * at[u]
        if bed[u] > 0:
            total += 0.5 * bed[u] * (at[u] - bed_at[u]) * (at[u] - bed_at[u])
    if turn != 0.0:
        for s in range(rest_angle.shape[0]):
            u = int(rest_angle[s, 0])
            cos, sin = rest_angle[s, 1], rest_angle[s, 2]
            total -= turn * math.atan2(at[u + 1] * cos - at[u] * sin, at[u] * cos + at[u + 1] * sin)
    return total


energy = compiled(_energy, part=True)


def _put(target: Floats, source: Floats, share: float) -> None:
    """``source`` times ``share`` into ``target``. (A loop: whole arrays at once take the compiler many times as long.)"""
    for i in range(target.shape[0]):
        target[i] = share * source[i]


def _fill(target: Floats, value: float) -> None:
    """One value into all places."""
    for i in range(target.shape[0]):
        target[i] = value


def _clear(target: Floats) -> None:
    """Nothing into all places of a table."""
    for i in range(target.shape[0]):
        for j in range(target.shape[1]):
            target[i, j] = 0.0


def _product(one: Floats, other: Floats) -> float:
    """Sum of products."""
    total = 0.0
    for i in range(one.shape[0]):
        total += one[i] * other[i]
    return total


put, fill, clear = compiled(_put, part=True), compiled(_fill, part=True), compiled(_clear, part=True)
product = compiled(_product, part=True)


def _add(band: Floats, i: int, j: int, value: float) -> None:
    """Add to the lower band: row i, column j, of which only j <= i is kept."""
    if j <= i:
        band[i, band.shape[1] - 1 - i + j] += value


add = compiled(_add, part=True, inline="always")


def _add_block(band: Floats, place: tuple[int, int], weight: float, block: tuple[float, float, float]) -> None:
    """Add ``weight`` times a symmetric 2 x 2 block (xx, xy, yy) at the unknowns i, i + 1 against j, j + 1."""
    i, j = place
    xx, xy, yy = block
    add(band, i, j, weight * xx)
    add(band, i, j + 1, weight * xy)
    add(band, i + 1, j, weight * xy)
    add(band, i + 1, j + 1, weight * yy)


add_block = compiled(_add_block, part=True)


def _strips(at: Floats, net: Any, gradient: Floats, band: Floats) -> None:
    """Strips of capsule: gradient and Hessian."""
    axial, firm, ends, laws = net[0], net[1], net[2], net[3]
    for m in range(ends.shape[0]):
        i, j = ends[m, 0], ends[m, 1]
        dx, dy = at[j] - at[i], at[j + 1] - at[i + 1]
        length = max(math.sqrt(dx * dx + dy * dy), TINY_LIMIT)
        strain = length / axial[m, 1] - 1
        share, _, slope = toe_law(strain, laws[m, 0], laws[m, 1])
        tension, stiff = axial[m, 0] * share, axial[m, 0] * slope / axial[m, 1]
        if firm[m] > 0:
            tension += firm[m] * (length / axial[m, 2] - 1)
            stiff += firm[m] / axial[m, 2]
        ux, uy, side = dx / length, dy / length, tension / length
        gradient[i] -= tension * ux
        gradient[i + 1] -= tension * uy
        gradient[j] += tension * ux
        gradient[j + 1] += tension * uy
        block = ((stiff - side) * ux * ux + side, (stiff - side) * ux * uy, (stiff - side) * uy * uy + side)
        add_block(band, (i, i), 1.0, block)
        add_block(band, (j, j), 1.0, block)
        add_block(band, (max(i, j), min(i, j)), -1.0, block)


def _ties(at: Floats, net: Any, gradient: Floats, band: Floats) -> None:
    """Weak ties and the bed: gradient and Hessian."""
    tie, tie_at, load, bed, bed_at = net[4], net[5], net[10], net[11], net[12]
    unit = (1.0, 0.0, 1.0)
    for u in range(at.shape[0]):
        gradient[u] = -load[u] + bed[u] * (at[u] - bed_at[u])
        add(band, u, u, bed[u])
    for t in range(tie.shape[0]):
        i, j = tie_at[t, 0], tie_at[t, 1]
        for row in range(2):
            pull = tie[t, 0] * (at[j + row] - at[i + row] - tie[t, 1 + row])
            gradient[i + row] -= pull
            gradient[j + row] += pull
        add_block(band, (i, i), tie[t, 0], unit)
        add_block(band, (j, j), tie[t, 0], unit)
        add_block(band, (max(i, j), min(i, j)), -tie[t, 0], unit)


def _fibres(at: Floats, net: Any, gradient: Floats, band: Floats) -> None:
    """Fibres and holds: gradient and Hessian."""
    fibre, fibre_at = net[6], net[7]
    for f in range(fibre.shape[0]):
        i, j, share = fibre_at[f, 0], fibre_at[f, 1], fibre[f, 5]
        keep = 1 - share
        rx = keep * at[i] + share * at[j] - fibre[f, 0]
        ry = keep * at[i + 1] + share * at[j + 1] - fibre[f, 1]
        length = max(math.sqrt(rx * rx + ry * ry + fibre[f, 2] * fibre[f, 2]), TINY_LIMIT)
        stretch = length - fibre[f, 4]
        if stretch <= 0:
            continue
        tension = fibre[f, 3] * stretch
        ux, uy, side = rx / length, ry / length, tension / length
        stiff = fibre[f, 3] - side
        block = (stiff * ux * ux + side, stiff * ux * uy, stiff * uy * uy + side)
        gradient[i] += keep * tension * ux
        gradient[i + 1] += keep * tension * uy
        add_block(band, (i, i), keep * keep, block)
        if share > 0:
            gradient[j] += share * tension * ux
            gradient[j + 1] += share * tension * uy
            add_block(band, (j, j), share * share, block)
            add_block(band, (max(i, j), min(i, j)), share * keep, block)


def _torque(at: Floats, turn: float, rest_angle: Floats, gradient: Floats, band: Floats) -> None:
    """A turning moment shared by the stations: gradient and Hessian."""
    for s in range(rest_angle.shape[0]):
        u = int(rest_angle[s, 0])
        square = at[u] * at[u] + at[u + 1] * at[u + 1]
        gradient[u] += turn * at[u + 1] / square
        gradient[u + 1] -= turn * at[u] / square
        bent = turn / (square * square)
        mixed, twice = bent * (at[u + 1] * at[u + 1] - at[u] * at[u]), 2 * bent * at[u] * at[u + 1]
        add_block(band, (u, u), 1.0, (-twice, -mixed, twice))


def _bending(at: Floats, bend: Floats, bend_at: Ints, gradient: Floats, band: Floats) -> None:
    """Turning angles between neighbouring segments: gradient and Hessian of their energy."""
    swing = np.zeros(6)
    where = np.zeros(6, dtype=np.int64)
    for b in range(bend_at.shape[0]):
        h, i, j = bend_at[b, 0], bend_at[b, 1], bend_at[b, 2]
        bx, by = at[i] - at[h], at[i + 1] - at[h + 1]
        ax, ay = at[j] - at[i], at[j + 1] - at[i + 1]
        square_b, square_a = bx * bx + by * by, ax * ax + ay * ay
        moment = bend[b, 0] * (math.atan2(bx * ay - by * ax, bx * ax + by * ay) - bend[b, 1])
        # turn = direction of a less direction of b; a = j - i, b = i - h
        swing[4], swing[5] = -ay / square_a, ax / square_a
        swing[0], swing[1] = -by / square_b, bx / square_b
        swing[2], swing[3] = -swing[4] - swing[0], -swing[5] - swing[1]
        where[0], where[1], where[2] = h, h + 1, i
        where[3], where[4], where[5] = i + 1, j, j + 1
        for p in range(6):
            gradient[where[p]] += moment * swing[p]
            for q in range(6):
                add(band, where[p], where[q], bend[b, 0] * swing[p] * swing[q])
        twice, mixed = 2 * ax * ay / (square_a * square_a), (ay * ay - ax * ax) / (square_a * square_a)
        bent(band, (i, j), moment, (twice, mixed))
        twice, mixed = 2 * bx * by / (square_b * square_b), (by * by - bx * bx) / (square_b * square_b)
        bent(band, (h, i), -moment, (twice, mixed))


def _bent(band: Floats, place: tuple[int, int], moment: float, curve: tuple[float, float]) -> None:
    """Second derivatives of the direction of one segment from i to j, times ``moment``."""
    i, j = place
    twice, mixed = curve
    add_block(band, (i, i), moment, (twice, mixed, -twice))
    add_block(band, (j, j), moment, (twice, mixed, -twice))
    add_block(band, (max(i, j), min(i, j)), -moment, (twice, mixed, -twice))


bent = compiled(_bent, part=True)
bending = compiled(_bending, part=True)
strips, ties, fibres, torque = (
    compiled(_strips, part=True),
    compiled(_ties, part=True),
    compiled(_fibres, part=True),
    compiled(_torque, part=True),
)


def _derivatives(at: Floats, net: Any, gradient: Floats, band: Floats) -> None:
    """Gradient and the lower band of the Hessian."""
    clear(band)
    ties(at, net, gradient, band)
    strips(at, net, gradient, band)
    fibres(at, net, gradient, band)
    bending(at, net[8], net[9], gradient, band)
    if net[13] != 0.0:
        torque(at, net[13], net[14], gradient, band)


derivatives = compiled(_derivatives, part=True)


FOUR = 4  # rows that are factored together: the processor need not wait for one sum before it begins the next


def _factor(band: Floats, shift: float, out: Floats) -> bool:
    """Cholesky factor of the shifted lower band into ``out``; False where the matrix is not positive definite.

    Four rows at a time, from their first column on, with nothing outside the band; as many rows as a multiple of four.
    """
    count, wide = band.shape
    half = wide - 1
    rows = np.zeros((wide + FOUR, FOUR))
    for i in range(0, count, FOUR):
        before = min(i, half)
        for r in range(FOUR):
            outside = max(before + r - half, 0)
            own = band[i + r, half - before - r + outside :]
            for q in range(outside):
                rows[q, r] = 0.0
            for q in range(own.shape[0]):
                rows[outside + q, r] = own[q]
            rows[before + r, r] += shift
        for q in range(before):
            other = out[i - before + q, half - q :]
            one, two, three, four = rows[q, 0], rows[q, 1], rows[q, 2], rows[q, 3]
            for k in range(q):
                one -= rows[k, 0] * other[k]
                two -= rows[k, 1] * other[k]
                three -= rows[k, 2] * other[k]
                four -= rows[k, 3] * other[k]
            inverse = other[q]
            rows[q, 0], rows[q, 1], rows[q, 2], rows[q, 3] = (
                one * inverse,
                two * inverse,
                three * inverse,
                four * inverse,
            )
        for c in range(FOUR):
            q = before + c
            one, two, three, four = rows[q, 0], rows[q, 1], rows[q, 2], rows[q, 3]
            for k in range(q):
                one -= rows[k, 0] * rows[k, c]
                two -= rows[k, 1] * rows[k, c]
                three -= rows[k, 2] * rows[k, c]
                four -= rows[k, 3] * rows[k, c]
            rows[q, 0], rows[q, 1], rows[q, 2], rows[q, 3] = one, two, three, four
            pivot = rows[q, c]
            if not pivot > TINY_LIMIT:
                return False
            inverse = 1 / math.sqrt(pivot)
            for r in range(c, FOUR):
                rows[q, r] *= inverse
            rows[q, c] = inverse  # the diagonal is kept as its inverse
        for r in range(FOUR):
            outside = max(before + r - half, 0)
            own = out[i + r, half - before - r + outside :]
            for q in range(own.shape[0]):
                own[q] = rows[outside + q, r]
    return True


factor = compiled(_factor, fastmath={"reassoc", "contract"})


def _substitute(out: Floats, right: Floats) -> None:
    """Solve in place with the factor of :func:`factor`."""
    count, wide = out.shape
    half = wide - 1
    for i in range(count):
        before = min(i, half)
        row, known = out[i, half - before :], right[i - before :]
        total = right[i]
        for k in range(before):
            total -= row[k] * known[k]
        right[i] = total * row[before]
    for i in range(count - 1, -1, -1):
        before = min(i, half)
        row, known = out[i, half - before :], right[i - before :]
        found = right[i] * row[before]
        right[i] = found
        for k in range(before):
            known[k] -= row[k] * found


substitute = compiled(_substitute, part=True, fastmath={"reassoc", "contract"})
