"""Unilateral contact with friction between points of a ring and the moving wall of the bag.

The wall is the closed quadratic B-spline of the bag's stations: it follows the stations as they move, and its normal
turns without jumps (a bare polygon makes a solver chatter at its corners). Each point of the ring is projected onto the
wall; with n the outward normal there and X the foot,

    gap g = n . (X - r),    dg = n . v,    v = sum B_i dx_i - dr,    w = sum B_i' dx_i
    d2g = (b / (a D)) (X'.v)^2 - (2 / D) (X'.v) (n.w) - (g / D) (n.w)^2,    a = |X'|^2, b = n.X'', D = a + g b

(the projection's own shift is in d2g). A point pushes where g < 0: force k (d^2 / 2 toe, then linear), d = -g.
Friction resists by up to ``friction`` times the push, along the wall, against the slip from where the point was laid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.loop_assembly import toe_law
from forestay.mechanics.zonule import Floats

Whole = NDArray[np.int64]

CONTACT_LIMIT_MN_PER_MM = 60.0  # stiffness of contact at a point
TOE_TOLERANCE_MM = 0.04  # over which the push of a point builds up
STICK_TOLERANCE_MM = 0.01  # slip at which 70 % of the friction is mobilised
FOOT_STEPS = 5  # of Newton towards the foot of a point on the wall
FOOT_TOLERANCE = 1e-12  # in spacings of the stations: closer than this the foot is found
NEAR_LIMIT_MM = 1.0  # points further inside than this need no exact foot
NODES = 3  # stations that shape the wall at a point
LOCAL = 2 + 2 * NODES  # coordinates that meet at a contact: the point, then three stations


@dataclass(frozen=True)
class Feet:
    """Feet of the ring's points on the wall: ``station`` (3, P) with weights ``share`` and their derivatives ``slope``
    (3, P); ``place`` (P,) along the wall in spacings; ``foot_mm``, ``tangent`` X', ``bend`` X'', ``normal`` (2, P);
    ``gap_mm`` (P,), above 0 inside the bag."""

    place: Floats
    station: Whole
    share: Floats
    slope: Floats
    foot_mm: Floats
    tangent: Floats
    bend: Floats
    normal: Floats
    gap_mm: Floats


@dataclass(frozen=True)
class Friction:
    """Friction in the state it had a step ago: ``limit_mn`` (P,) the most it can bear, ``along`` (2, P) unit vectors
    along the wall, ``station``, ``share`` (3, P) the place of the wall that each point rubs on; ``moving``: every
    point slides forward along ``along`` (no sticking), as when a ring is being threaded."""

    limit_mn: Floats
    along: Floats
    station: Whole
    share: Floats
    moving: bool


def wall_at(place: Floats, stations: int) -> tuple[Whole, Floats, Floats]:
    """Stations (3, P), weights and derivatives of the wall's spline at ``place`` [spacings]; station i is nearest at
    i + 1/2.

    >>> import numpy as np
    >>> wall_at(np.array([0.5]), 24)[1].ravel().tolist()
    [0.125, 0.75, 0.125]
    """
    cell = np.floor(place)
    part = place - cell
    centre = np.mod(cell.astype(np.int64), stations)
    station = np.stack([np.mod(centre - 1, stations), centre, np.mod(centre + 1, stations)])
    rest = 1 - part
    share = np.stack([0.5 * rest * rest, 0.5 + part * rest, 0.5 * part * part])
    return station, share, np.stack([-rest, rest - part, part])


def feet(points: Floats, wall: Floats, place: Floats | None = None) -> Feet:
    """Feet of ``points`` (2, P) on the wall through ``wall`` (2, N) [mm]; ``place`` is a first guess."""
    stations = wall.shape[-1]
    if place is None:
        away = (points[0][:, None] - wall[0]) ** 2 + (points[1][:, None] - wall[1]) ** 2
        place = away.argmin(axis=1) + 0.5
    for _ in range(FOOT_STEPS):
        station, share, slope = wall_at(place, stations)
        x, y = wall[0][station], wall[1][station]
        tangent = np.stack([(slope * x).sum(axis=0), (slope * y).sum(axis=0)])
        bend = np.stack([x[0] - 2 * x[1] + x[2], y[0] - 2 * y[1] + y[2]])
        foot = np.stack([(share * x).sum(axis=0), (share * y).sum(axis=0)])
        off = foot - points
        square = (tangent * tangent).sum(axis=0)
        firm = np.maximum(square + (bend * off).sum(axis=0), 0.25 * square)
        step = -(tangent * off).sum(axis=0) / firm
        if float(np.abs(step).max()) <= FOOT_TOLERANCE:
            break
        place = place + np.clip(step, -1.0, 1.0)
    normal = np.stack([-tangent[1], tangent[0]]) / np.sqrt(square)
    return Feet(place, station, share, slope, foot, tangent, bend, normal, (normal * off).sum(axis=0))


def push(gap_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Energy [mN mm], push [mN] and stiffness [mN/mm] of contact at each point, 0 where the gap is open."""
    force, energy, slope = toe_law(np.maximum(-gap_mm, 0.0), TOE_TOLERANCE_MM, 0.0)
    return CONTACT_LIMIT_MN_PER_MM * energy, CONTACT_LIMIT_MN_PER_MM * force, CONTACT_LIMIT_MN_PER_MM * slope


def contact_terms(at: Feet, which: Whole, push_mn: Floats, stiffness: Floats) -> tuple[Floats, Floats]:
    """Gradient (8, Q) and Hessian (8, 8, Q) of the contact energy of the points ``which``, over the point's two
    coordinates and the two of each of its three stations."""
    normal, tangent = at.normal[:, which], at.tangent[:, which]
    share, slope, gap = at.share[:, which], at.slope[:, which], at.gap_mm[which]
    square = (tangent * tangent).sum(axis=0)
    curved = (normal * at.bend[:, which]).sum(axis=0)
    firm = square + gap * curved
    count = which.size
    rows = np.empty((3, LOCAL, count))
    rows[0, :2], rows[1, :2], rows[2, :2] = -normal, -tangent, 0.0
    rows[0, 2:] = (share[:, None] * normal).reshape(2 * NODES, count)
    rows[1, 2:] = (share[:, None] * tangent).reshape(2 * NODES, count)
    rows[2, 2:] = (slope[:, None] * normal).reshape(2 * NODES, count)
    mixed = np.zeros((3, 3, count))
    mixed[0, 0] = stiffness
    mixed[1, 1] = -push_mn * curved / (square * firm)
    mixed[1, 2] = mixed[2, 1] = push_mn / firm
    mixed[2, 2] = push_mn * gap / firm
    by_point = np.ascontiguousarray(np.moveaxis(rows, -1, 0))
    hessian = np.swapaxes(by_point, 1, 2) @ (np.ascontiguousarray(np.moveaxis(mixed, -1, 0)) @ by_point)
    return -push_mn * rows[0], hessian


def slip(points: Floats, wall: Floats, friction: Friction) -> Floats:
    """Slip of each point along the wall [mm] from the place that it rubs on."""
    x, y = wall[0][friction.station], wall[1][friction.station]
    laid = np.stack([(friction.share * x).sum(axis=0), (friction.share * y).sum(axis=0)])
    return np.asarray((friction.along * (points - laid)).sum(axis=0), dtype=np.float64)


def friction_law(slip_mm: Floats, friction: Friction) -> tuple[Floats, Floats, Floats]:
    """Energy, force along the wall and stiffness of friction: ``limit (sqrt(s^2 + e^2) - e)``; sliding: ``limit s``."""
    if friction.moving:
        return friction.limit_mn * slip_mm, friction.limit_mn, np.zeros_like(slip_mm)
    reach = np.sqrt(slip_mm * slip_mm + STICK_TOLERANCE_MM * STICK_TOLERANCE_MM)
    force = friction.limit_mn * slip_mm / reach
    stiff = friction.limit_mn * STICK_TOLERANCE_MM * STICK_TOLERANCE_MM / (reach * reach * reach)
    return friction.limit_mn * (reach - STICK_TOLERANCE_MM), force, stiff


def friction_terms(friction: Friction, which: Whole, force_mn: Floats, stiffness: Floats) -> tuple[Floats, Floats]:
    """Gradient (8, Q) and Hessian (Q, 8, 8) of friction at the points ``which``, ordered as in contact."""
    along, share = friction.along[:, which], friction.share[:, which]
    row = np.concatenate([along, -(share[:, None] * along).reshape(2 * NODES, which.size)])
    by_point = row.T
    return force_mn * row, stiffness[:, None, None] * by_point[:, :, None] * by_point[:, None, :]


def drag_terms(at: Feet, friction: Friction, which: Whole, share: Floats) -> Floats:
    """How friction grows with the push (Q, 8, 8): the rows of friction times those of the gap, times ``share`` (Q,)
    [mN/mm]. Not symmetric: friction has no energy of its own."""
    along, normal = friction.along[:, which], at.normal[:, which]
    rub = np.concatenate([along, -(friction.share[:, which][:, None] * along).reshape(2 * NODES, which.size)])
    opening = np.concatenate([-normal, (at.share[:, which][:, None] * normal).reshape(2 * NODES, which.size)])
    grows = -share[:, None, None] * rub.T[:, :, None] * opening.T[:, None, :]
    return np.asarray(grows, dtype=np.float64)


def turn_terms(at: Feet, friction: Friction, which: Whole, force_mn: Floats, across_mn: Floats) -> Floats:
    """How friction turns with the wall (Q, 8, 8): rows of friction, columns of the gap. ``force_mn`` (Q,) along the wall;
    ``across_mn`` (Q,), what a turn by one radian adds to it through the slip. The wall's direction turns by

        (n . w - b (X'.v + g n . w) / D) / sqrt(a)
    """
    normal, tangent = at.normal[:, which], at.tangent[:, which]
    share, slope, gap = at.share[:, which], at.slope[:, which], at.gap_mm[which]
    square = (tangent * tangent).sum(axis=0)
    curved = (normal * at.bend[:, which]).sum(axis=0)
    count = which.size
    shifted = np.concatenate([-tangent, (share[:, None] * tangent).reshape(2 * NODES, count)])
    swung = np.concatenate([np.zeros((2, count)), (slope[:, None] * normal).reshape(2 * NODES, count)])
    angle = (swung - curved * (shifted + gap * swung) / (square + gap * curved)) / np.sqrt(square)
    force = force_mn * normal + across_mn * friction.along[:, which]
    rub = np.concatenate([force, -(friction.share[:, which][:, None] * force).reshape(2 * NODES, count)])
    return np.asarray(rub.T[:, :, None] * angle.T[:, None, :], dtype=np.float64)
