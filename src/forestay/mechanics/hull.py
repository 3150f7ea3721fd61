"""The shortest line round a disc and corners: its length, the area inside, and the largest circle in it.

Corners stand at distances and angles round the disc's centre. Going round, two neighbouring corners are joined by a
straight side where that passes clear of the disc, and otherwise by two tangents with an arc between. A corner at which
the line would bend inward is inside and drops out. All of it runs over draws on the last axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.geometry import Floats, largest_circle_radius_mm, require
from forestay.text import tr

TURN = 2 * np.pi
HALF_TURN_TOLERANCE = 1e-9
"""A gap this close to half a turn [rad] counts as half a turn, however the clock positions were rounded."""
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Hull:
    """One hull for each draw: (n,), and which corner of the h given lies on it: (h, n)."""

    area_mm2: Floats
    perimeter_mm: Floats
    circle_radius_mm: Floats
    on_hull: Flags


@dataclass(frozen=True)
class _Sides:
    """From each corner to the next one on the hull, in order of angle: (h, n); angles from the corner's own."""

    next: NDArray[np.intp]
    turn: Floats
    straight: Flags
    leaving: Floats
    arriving: Floats
    bend: Floats


def hull_of_disc(*, angle_rad: Floats, distance_mm: Floats, disc_radius_mm: Floats, corner_radius_mm: float) -> Hull:
    """The hull of a disc and corners.

    Parameters: ``angle_rad``, ``distance_mm`` of the corners (h, n), ``disc_radius_mm`` (n,) 0 or more [mm],
    ``corner_radius_mm`` rounding of the corners inside the same sides [mm]. Where the disc has radius 0 the corners
    must go round its centre (see :func:`goes_round`). Result: :class:`Hull`. A rounding that eats up a side is
    refused. By rounding, a corner that turns by phi loses r (2 tan(phi/2) - phi) of edge and
    r^2 (tan(phi/2) - phi/2) of area.

    >>> corner = np.radians([[45.0], [135.0], [225.0], [315.0]])
    >>> square = hull_of_disc(angle_rad=corner, distance_mm=np.full((4, 1), 12.5**0.5), disc_radius_mm=np.zeros(1),
    ...                       corner_radius_mm=0.1)
    >>> square.perimeter_mm.round(3).tolist(), square.area_mm2.round(3).tolist()
    ([19.828], [24.991])
    """
    if not len(angle_rad):
        disc = np.asarray(disc_radius_mm, dtype=np.float64)
        return Hull(TURN / 2 * disc**2, TURN * disc, disc, np.zeros(angle_rad.shape, dtype=bool))
    order = np.argsort(np.mod(angle_rad, TURN), axis=0, kind="stable")
    angle = np.take_along_axis(np.mod(angle_rad, TURN), order, axis=0)
    distance = np.take_along_axis(distance_mm, order, axis=0)
    active = distance > disc_radius_mm
    sides = _sides(angle, distance, disc_radius_mm, active)
    for _ in range(len(angle)):
        inward = active & (sides.bend <= 0)
        if not inward.any():
            break
        active &= ~inward
        sides = _sides(angle, distance, disc_radius_mm, active)
    perimeter, area = _measure(distance, disc_radius_mm, active, sides)
    if corner_radius_mm > 0:
        _require_room(corner_radius_mm, distance, disc_radius_mm, active, sides)
        half = np.where(active, sides.bend / 2, 0)
        perimeter = perimeter - 2 * corner_radius_mm * np.sum(np.tan(half) - half, axis=0)
        area = area - corner_radius_mm**2 * np.sum(np.tan(half) - half, axis=0)
    on_hull = np.empty_like(active)
    np.put_along_axis(on_hull, order, active, axis=0)
    return Hull(area, perimeter, _circle(angle, distance, disc_radius_mm, active, sides), on_hull)


def goes_round(*, angle_rad: Floats) -> Flags:
    """Whether corners at these angles (h, n) have the centre strictly inside: no gap of half a turn or more."""
    if len(angle_rad) <= 2:
        return np.zeros(angle_rad.shape[1:], dtype=bool)
    angle = np.sort(np.mod(angle_rad, TURN), axis=0)
    last = TURN - angle[-1] + angle[0]
    widest: Floats = np.maximum(last, np.diff(angle, axis=0).max(axis=0))
    return widest < TURN / 2 - HALF_TURN_TOLERANCE


def _sides(angle: Floats, distance: Floats, disc: Floats, active: Flags) -> _Sides:
    following = np.argmax(active, axis=0)
    after = np.empty(active.shape, dtype=np.intp)
    for k in reversed(range(len(active))):
        after[k] = np.where(active[k], following, k)
        following = np.where(active[k], k, following)
    far = np.take_along_axis(distance, after, axis=0)
    turn = np.mod(np.take_along_axis(angle, after, axis=0) - angle, TURN)
    turn = np.where(turn > 0, turn, TURN)
    tangent = np.arccos(np.where(active, disc / np.where(active, distance, 1), 1))
    far_tangent = np.take_along_axis(tangent, after, axis=0)
    straight = active & (turn < tangent + far_tangent)
    sine, cosine = np.sin(turn), np.cos(turn)
    leaving = np.where(straight, np.arctan2(distance - far * cosine, far * sine), tangent)
    arriving = np.where(straight, -np.arctan2(far - distance * cosine, distance * sine), -far_tangent)
    came = np.zeros_like(arriving)
    np.put_along_axis(came, after, arriving, axis=0)
    return _Sides(after, turn, straight, leaving, arriving, leaving - came)


def _measure(distance: Floats, disc: Floats, active: Flags, sides: _Sides) -> tuple[Floats, Floats]:
    far = np.take_along_axis(distance, sides.next, axis=0)
    length = np.hypot(distance - far * np.cos(sides.turn), far * np.sin(sides.turn))
    triangle = distance * far * np.sin(sides.turn) / 2
    tangents = _tangent_mm(distance, disc) + _tangent_mm(far, disc)
    arc = sides.turn - sides.leaving + sides.arriving
    around = np.where(sides.straight, length, tangents + disc * arc)
    inside = np.where(sides.straight, triangle, disc * (tangents + disc * arc) / 2)
    alone = ~active.any(axis=0)
    perimeter = np.where(alone, TURN * disc, np.sum(np.where(active, around, 0), axis=0))
    area = np.where(alone, TURN / 2 * disc**2, np.sum(np.where(active, inside, 0), axis=0))
    return perimeter, area


def _tangent_mm(distance: Floats, disc: Floats) -> Floats:
    length: Floats = np.sqrt(np.maximum(distance**2 - disc**2, 0))
    return length


def _require_room(radius: float, distance: Floats, disc: Floats, active: Flags, sides: _Sides) -> None:
    cut = radius * np.tan(np.where(active, sides.bend, 0) / 2)
    far_cut = np.take_along_axis(cut, sides.next, axis=0)
    far = np.take_along_axis(distance, sides.next, axis=0)
    length = np.hypot(distance - far * np.cos(sides.turn), far * np.sin(sides.turn))
    short = np.where(
        sides.straight,
        length < cut + far_cut,
        (_tangent_mm(distance, disc) < cut) | (_tangent_mm(far, disc) < far_cut),
    )
    require(
        holds=~np.any(active & short),
        field="corner_radius_mm",
        value=radius,
        allowed=tr("small enough to leave a straight part in every side"),
    )


def _circle(angle: Floats, distance: Floats, disc: Floats, active: Flags, sides: _Sides) -> Floats:
    """Largest circle: of the disc itself, unless half a turn or more of the line is free of arcs."""
    radius = np.array(np.broadcast_to(disc, angle.shape[1:]), dtype=np.float64)
    free = _free_of_arcs(angle, active, sides)
    if not free.any():
        return radius
    angle, distance, active = angle[:, free], distance[:, free], active[:, free]
    leaving, arriving, straight = sides.leaving[:, free], sides.arriving[:, free], sides.straight[:, free]
    start, start_offset = angle + leaving, distance * np.cos(leaving)
    normals, offsets, used = [start], [start_offset], [active]
    if not straight[active].all():
        after = sides.next[:, free]
        normals.append(np.take_along_axis(angle, after, axis=0) + arriving)
        offsets.append(np.take_along_axis(distance, after, axis=0) * np.cos(arriving))
        used.append(active & ~straight)
    normal, valid = np.concatenate(normals), np.concatenate(used)
    radius[free] = largest_circle_radius_mm(
        normal_x=np.where(valid, np.cos(normal), 0),
        normal_y=np.where(valid, np.sin(normal), 0),
        offset_mm=np.where(valid, np.concatenate(offsets), np.inf),
    )
    return radius


def _free_of_arcs(angle: Floats, active: Flags, sides: _Sides) -> Flags:
    """Draws in which more than half a turn lies between the end of one arc and the start of the next."""
    arcs = active & ~sides.straight
    starts = np.where(arcs, angle + sides.leaving, np.nan)
    ends = np.where(arcs, angle + sides.turn + sides.arriving, np.nan)
    widest = np.zeros(angle.shape[1:])
    for end in ends:
        gap = np.where(arcs, np.mod(starts - end, TURN), np.inf).min(axis=0, initial=np.inf)
        widest = np.fmax(widest, np.where(np.isfinite(end), gap, 0))
    free: Flags = (widest > TURN / 2) | (~arcs.any(axis=0) & active.any(axis=0))
    return free
