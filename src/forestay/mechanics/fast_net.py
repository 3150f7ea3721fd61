"""Compiled kernels of one net of springs: energy, gradient, banded stiffness.

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
    """Energy of the unknowns ``at``. ``net``: the fields of :class:`forestay.mechanics.network.Network`, in order."""
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


def _add_here(band: Floats, i: int, weight: float, block: tuple[float, float, float]) -> None:
    """Add ``weight`` times a symmetric 2 x 2 block (xx, xy, yy) at the unknowns i, i + 1 against themselves."""
    half = band.shape[1] - 1
    band[i, half] += weight * block[0]
    band[i + 1, half - 1] += weight * block[1]
    band[i + 1, half] += weight * block[2]


def _add_apart(band: Floats, i: int, j: int, block: tuple[float, float, float, float]) -> None:
    """Add a 2 x 2 block (xx, xy, yx, yy) at the unknowns i, i + 1 against j, j + 1 of another station."""
    xx, xy, yx, yy = block
    if i < j:
        i, j, xy, yx = j, i, yx, xy
    first = band.shape[1] - 1 - i + j
    band[i, first] += xx
    band[i, first + 1] += xy
    band[i + 1, first - 1] += yx
    band[i + 1, first] += yy


add_here, add_apart = compiled(_add_here, part=True), compiled(_add_apart, part=True)


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
        add_here(band, i, 1.0, block)
        add_here(band, j, 1.0, block)
        add_apart(band, i, j, (-block[0], -block[1], -block[1], -block[2]))


def _ties(at: Floats, net: Any, gradient: Floats, band: Floats) -> None:
    """Weak ties and the bed: gradient and Hessian."""
    tie, tie_at, load, bed, bed_at = net[4], net[5], net[10], net[11], net[12]
    unit = (1.0, 0.0, 1.0)
    for u in range(at.shape[0]):
        gradient[u] = -load[u] + bed[u] * (at[u] - bed_at[u])
        band[u, band.shape[1] - 1] += bed[u]
    for t in range(tie.shape[0]):
        i, j = tie_at[t, 0], tie_at[t, 1]
        for row in range(2):
            pull = tie[t, 0] * (at[j + row] - at[i + row] - tie[t, 1 + row])
            gradient[i + row] -= pull
            gradient[j + row] += pull
        add_here(band, i, tie[t, 0], unit)
        add_here(band, j, tie[t, 0], unit)
        add_apart(band, i, j, (-tie[t, 0], 0.0, 0.0, -tie[t, 0]))


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
        add_here(band, i, keep * keep, block)
        if share > 0:
            gradient[j] += share * tension * ux
            gradient[j + 1] += share * tension * uy
            add_here(band, j, share * share, block)
            both = share * keep
            add_apart(band, i, j, (both * block[0], both * block[1], both * block[1], both * block[2]))


def _torque(at: Floats, turn: float, rest_angle: Floats, gradient: Floats, band: Floats) -> None:
    """A turning moment shared by the stations: gradient and Hessian."""
    for s in range(rest_angle.shape[0]):
        u = int(rest_angle[s, 0])
        square = at[u] * at[u] + at[u + 1] * at[u + 1]
        gradient[u] += turn * at[u + 1] / square
        gradient[u + 1] -= turn * at[u] / square
        bent = turn / (square * square)
        mixed, twice = bent * (at[u + 1] * at[u + 1] - at[u] * at[u]), 2 * bent * at[u] * at[u + 1]
        add_here(band, u, 1.0, (-twice, -mixed, twice))


def _bending(at: Floats, bend: Floats, bend_at: Ints, gradient: Floats, band: Floats) -> None:
    """Turning angles between neighbouring segments: gradient and Hessian of their energy."""
    for n in range(bend_at.shape[0]):
        h, i, j = bend_at[n, 0], bend_at[n, 1], bend_at[n, 2]
        bx, by = at[i] - at[h], at[i + 1] - at[h + 1]
        ax, ay = at[j] - at[i], at[j + 1] - at[i + 1]
        square_b, square_a = bx * bx + by * by, ax * ax + ay * ay
        stiff, turn = bend[n, 0], math.atan2(bx * ay - by * ax, bx * ax + by * ay)
        moment = stiff * (turn - bend[n, 1])
        # turn = direction of a less direction of b; a = j - i, b = i - h
        jx, jy = -ay / square_a, ax / square_a
        hx, hy = -by / square_b, bx / square_b
        ix, iy = -jx - hx, -jy - hy
        for at_one, x, y in ((h, hx, hy), (i, ix, iy), (j, jx, jy)):
            gradient[at_one] += moment * x
            gradient[at_one + 1] += moment * y
            add_here(band, at_one, stiff, (x * x, x * y, y * y))
        add_apart(band, j, h, (stiff * jx * hx, stiff * jx * hy, stiff * jy * hx, stiff * jy * hy))
        # the direction of a segment bends too, between its own two ends
        xx, xy = moment * 2 * ax * ay / (square_a * square_a), moment * (ay * ay - ax * ax) / (square_a * square_a)
        bent(band, j, i, (xx, xy), (stiff * jx, stiff * jy, ix, iy))
        xx, xy = moment * 2 * bx * by / (square_b * square_b), moment * (by * by - bx * bx) / (square_b * square_b)
        bent(band, h, i, (-xx, -xy), (stiff * hx, stiff * hy, ix, iy))


def _bent(band: Floats, i: int, j: int, curve: tuple[float, float], sides: tuple[float, float, float, float]) -> None:
    """Second derivatives ``curve`` (xx = -yy, xy) of the direction of a segment between i and j, and the product of its
    ends' ``sides`` (two of i, two of j)."""
    xx, xy = curve
    x, y, other_x, other_y = sides
    add_here(band, i, 1.0, (xx, xy, -xx))
    add_here(band, j, 1.0, (xx, xy, -xx))
    add_apart(band, i, j, (x * other_x - xx, x * other_y - xy, y * other_x - xy, y * other_y + xx))


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
