"""What is seen through an opening that is not round: the circle about a given point, and how far it reaches one way.

The opening is the hull of a disc and corners (:mod:`forestay.mechanics.hull`). Its supporting distance in a direction
u is h(u) = max(R, max over corners of c . u). Both answers here are least values of a quotient or difference of h over
all directions, and those are reached only at the normals of straight sides and, on an arc, at the direction asked
for. All candidate normals are tried (every pair of corners, every tangent from a corner to the disc), so that nothing
rests on which corner lies on the hull.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from forestay.frame import mirror_hour, wrap_hour
from forestay.mechanics.geometry import Floats, Numbers, plain, require
from forestay.mechanics.pupil import CLOCK_TOLERANCE_DIGITS, opening
from forestay.mechanics.zonule import direction, directions
from forestay.text import tr

DIRECTION_TOLERANCE = 1e-12
"""Cosine below which a side is taken to run along the direction asked for."""


def circle_about_mm(
    *,
    clocks: Sequence[float],
    reach_mm: ArrayLike,
    pupil_mm: Numbers,
    centre_clock: float = 12,
    centre_offset_mm: Numbers = 0,
) -> Numbers:
    """Diameter of the largest circle in the opening about one point: the pupil's centre, or that of a displaced lens.

    d = 2 min over u of (h(u) - p . u), never below 0 (the point lies outside the opening).

    Parameters: ``clocks`` [hours] and ``reach_mm`` [mm] (h,) or (h, n) of the hooks' sharp corners, ``pupil_mm``
    before hooks [mm], a number or (n,); ``centre_offset_mm`` [mm], 0 or more, towards ``centre_clock`` [hours]: where
    the circle is centred. Result: diameter [mm]. Rounded corners leave it as it is, as long as the circle is wider
    than the wire. See :func:`forestay.mechanics.pupil.opening` for what the opening is.

    >>> square = {"clocks": (1.5, 4.5, 7.5, 10.5), "reach_mm": [12.5**0.5] * 4, "pupil_mm": 3.0}
    >>> round(circle_about_mm(**square), 3), round(circle_about_mm(**square, centre_clock=9, centre_offset_mm=0.5), 3)
    (5.0, 4.0)
    """
    offset = np.asarray(centre_offset_mm, dtype=np.float64)
    require(holds=offset >= 0, field="centre_offset_mm", value=offset, allowed=tr("0 or more"))
    corner_x, corner_y, disc, (at_x, at_y) = _shape(clocks, reach_mm, pupil_mm, centre_clock)
    x, y = np.atleast_1d(offset) * at_x, np.atleast_1d(offset) * at_y
    normal_x, normal_y = _normals(corner_x, corner_y, disc, (np.array([at_x]), np.array([at_y])))
    room = _support(normal_x, normal_y, corner_x, corner_y, disc) - normal_x * x - normal_y * y
    wide = 2 * np.maximum(room.min(axis=0), 0)
    return _as_given(wide, pupil_mm, reach_mm, centre_offset_mm)


def reach_towards_mm(
    *, clocks: Sequence[float], reach_mm: ArrayLike, pupil_mm: Numbers, towards_clock: float
) -> Numbers:
    """How far the opening reaches from the pupil's centre towards a clock position, the incision for example.

    min over u with u . d > 0 of h(u) / (u . d). Parameters as :func:`circle_about_mm`; ``towards_clock`` [hours].
    Result: distance [mm]. A square of reach 3.54 reaches 2.50 towards the middle of its side; a diamond, 3.54.

    >>> four = {"reach_mm": [3.54] * 4, "pupil_mm": 3.0, "towards_clock": 12}
    >>> [round(reach_towards_mm(clocks=c, **four), 2) for c in ((1.5, 4.5, 7.5, 10.5), (12, 3, 6, 9))]
    [2.5, 3.54]

    Reference: Oetting and Omphroy, J Cataract Refract Surg 2002;28:596 (the diamond); the figures are geometry.
    """
    corner_x, corner_y, disc, (at_x, at_y) = _shape(clocks, reach_mm, pupil_mm, towards_clock)
    normal_x, normal_y = _normals(corner_x, corner_y, disc, (np.array([at_x]), np.array([at_y])))
    along = normal_x * at_x + normal_y * at_y
    ahead = along > DIRECTION_TOLERANCE
    support = _support(normal_x, normal_y, corner_x, corner_y, disc)
    far = np.where(ahead, support / np.where(ahead, along, 1), np.where(np.isnan(along), np.nan, np.inf)).min(axis=0)
    return _as_given(far, pupil_mm, reach_mm, 0)


def _shape(
    clocks: Sequence[float], reach_mm: ArrayLike, pupil_mm: Numbers, clock: float
) -> tuple[Floats, Floats, Floats, tuple[float, float]]:
    """Corners (h, n), the radius of the disc (n,) round which the edge lies, 0 where it is taut, and the direction of
    ``clock``; of the eye and its mirror image the same one is worked out for both."""
    found = opening(clocks=clocks, reach_mm=reach_mm, pupil_mm=pupil_mm, corner_radius_mm=0.0)
    reach = np.asarray(reach_mm, dtype=np.float64)
    rows = reach[:, np.newaxis] if reach.ndim == 1 else reach
    hours, rows, at = _one_eye(clocks, rows, clock)
    x, y = directions(np.asarray(hours, dtype=np.float64))
    disc = np.asarray(found.disc_mm, dtype=np.float64) / 2
    corner_x, corner_y = x[:, np.newaxis] * rows, y[:, np.newaxis] * rows
    if not len(clocks):
        return np.zeros((0, np.size(disc))), np.zeros((0, np.size(disc))), np.atleast_1d(disc), direction(at)
    shape = (len(clocks), max(corner_x.shape[1], np.size(disc)))
    return (
        np.broadcast_to(corner_x, shape),
        np.broadcast_to(corner_y, shape),
        np.broadcast_to(disc, shape[1:]),
        direction(at),
    )


def _one_eye(clocks: Sequence[float], rows: Floats, clock: float) -> tuple[list[float], Floats, float]:
    """Hours and reaches in order, and the clock asked for, as given or mirrored: whichever comes first."""

    def seen(turn: Callable[[float], float]) -> tuple[list[tuple[float, float, int]], float]:
        places = [wrap_hour(round(turn(hour), CLOCK_TOLERANCE_DIGITS)) for hour in (*clocks, clock)]
        return sorted((place, float(rows[i, 0]), i) for i, place in enumerate(places[:-1])), places[-1]

    def key(one: tuple[list[tuple[float, float, int]], float]) -> tuple[list[tuple[float, float]], float]:
        return [(hour, reach) for hour, reach, _ in one[0]], one[1]

    placed, at = min(seen(wrap_hour), seen(mirror_hour), key=key)
    return [hour for hour, _, _ in placed], rows[[i for _, _, i in placed]], at


def _normals(x: Floats, y: Floats, disc: Floats, also: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """Every direction in which a least value can lie (m, n): both ways across each pair of corners, the contacts of
    each corner's two tangents with the disc, and the direction ``also``."""
    pairs = list(combinations(range(len(x)), 2))
    first, second = [i for i, _ in pairs], [j for _, j in pairs]
    along_x, along_y = x[second] - x[first], y[second] - y[first]
    length = np.hypot(along_x, along_y)
    length = np.where(length > 0, length, 1)
    across_x, across_y = along_y / length, -along_x / length
    distance = np.hypot(x, y)
    cosine = np.minimum(disc / distance, 1)
    sine = np.sqrt(1 - cosine**2)
    out_x, out_y = x / distance, y / distance
    turned = [(cosine * out_x - s * sine * out_y, cosine * out_y + s * sine * out_x) for s in (1, -1)]
    ends = [np.broadcast_to(a[:, np.newaxis], (1, disc.size)) for a in also]
    return (
        np.concatenate([across_x, -across_x, turned[0][0], turned[1][0], ends[0]]),
        np.concatenate([across_y, -across_y, turned[0][1], turned[1][1], ends[1]]),
    )


def _support(normal_x: Floats, normal_y: Floats, x: Floats, y: Floats, disc: Floats) -> Floats:
    """h(u) for every direction (m, n)."""
    far: Floats = np.array(np.broadcast_to(disc, normal_x.shape), dtype=np.float64)
    for corner_x, corner_y in zip(x, y, strict=True):
        far = np.maximum(far, normal_x * corner_x + normal_y * corner_y)
    return far


def _as_given(values: Floats, *given: ArrayLike) -> Numbers:
    """A number where all inputs were single ones: hooks' reaches by hook count as single."""
    pupil, reach, more = (np.asarray(g, dtype=np.float64) for g in given)
    single = pupil.ndim == 0 and reach.ndim <= 1 and more.ndim == 0
    return plain(values[0]) if single else values
