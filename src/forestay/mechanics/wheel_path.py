"""The way out of the bag that asks least of the rim: how the nucleus turns and lifts through a round opening.

State: tilt q of the nucleus, height h of its centre above the plane of the opening. The plane cuts the ellipsoid
D x T in an ellipse of girth G(q) sqrt(1 - h^2 / H^2), H(q) being the half-height of the tilted body: G falls and H
grows as it tips on its edge. The cornea allows h + H <= room above, the vitreous H - h <= room below. Of all ways from
below to above the best has the smallest largest girth.

Because G falls with q, the states whose girth is at most c are those with q beyond some q(c), at any height, together
with a strip under the ceiling and a strip over the floor. So the best way goes along the floor from flat, crosses the
middle at one tilt, and comes back along the ceiling: its girth is the least, over the tilt at the crossing, of the
largest of G there and of the girths met along floor and ceiling up to it. That is searched on one line of tilts, for
all draws at once; a search over the whole (tilt, height) plane gives the same (see the tests).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.geometry import Floats, Numbers, ellipse_perimeter_mm, plain, require, require_positive
from forestay.text import tr

Places: TypeAlias = NDArray[np.intp]
"""Places on the line of tilts, one for each draw."""
TILT_STATIONS = 181
"""Tilts tried between flat and on edge."""
WAY_STATIONS = 31
"""Points of each part of the way that is drawn."""
BISECTION_STEPS = 40
"""Halvings in the search for the room that is needed."""
FREE_TOLERANCE = 1e-4
"""Share of its least girth within which a nucleus counts as passing free."""


@dataclass(frozen=True)
class WheelPath:
    """The best way. ``worst_girth_mm`` largest girth met [mm], infinite where the chamber is shallower than the nucleus
    (it cannot lie wholly above); ``crossing_tilt_deg`` tilt at which the middle passes, 0 flat, 90 on edge, NaN where
    there is none."""

    worst_girth_mm: Numbers
    crossing_tilt_deg: Numbers


@dataclass(frozen=True)
class _Line:
    """Tilts from the widest to the narrowest girth, with girth and half-height at each, and the body's thinnest way."""

    tilt_deg: Floats
    girth_mm: Floats
    half_height_mm: Floats
    thinnest_mm: Floats


def wheel_path(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    room_above_mm: Numbers,
    room_below_mm: Numbers,
    stations: int = TILT_STATIONS,
) -> WheelPath:
    """Smallest largest girth of all ways from below the opening to above it.

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T [mm] above 0; ``room_above_mm`` from the opening
    to the cornea, ``room_below_mm`` from the opening to the back of the emptied bag [mm], 0 or more; ``stations`` of
    the search. Result: :class:`WheelPath`. Without friction and soft shell; the opening round, in the middle.

    >>> path = wheel_path(nucleus_diameter_mm=7.89, nucleus_thickness_mm=3.53, room_above_mm=4.0, room_below_mm=6.0)
    >>> round(path.worst_girth_mm, 2), round(path.crossing_tilt_deg)
    (19.02, 63)
    """
    for field, room in (("room_above_mm", room_above_mm), ("room_below_mm", room_below_mm)):
        require(holds=np.asarray(room) >= 0, field=field, value=room, allowed=tr("0 or more"))
    shape = np.broadcast_shapes(
        *map(np.shape, (nucleus_diameter_mm, nucleus_thickness_mm, room_above_mm, room_below_mm))
    )
    line = _line(nucleus_diameter_mm, nucleus_thickness_mm, stations, shape)
    girth, tilt = _best(line, np.broadcast_to(room_above_mm, shape), np.broadcast_to(room_below_mm, shape))
    return WheelPath(plain(girth), plain(tilt))


def way_points(
    *,
    nucleus_diameter_mm: float,
    nucleus_thickness_mm: float,
    room_above_mm: float,
    room_below_mm: float,
    stations: int = WAY_STATIONS,
) -> Floats:
    """The best way itself, for drawing: tilt [degrees] and height of the centre above the opening [mm].

    Along the floor from the widest girth to the crossing, through the opening at that tilt, and back along the ceiling.
    Parameters: as :func:`wheel_path`, single numbers; ``stations`` of each of the three parts. Result (2, 3 stations);
    empty (2, 0) where there is no way. Its largest girth is that of :func:`wheel_path`.

    >>> way = way_points(nucleus_diameter_mm=7.89, nucleus_thickness_mm=3.53, room_above_mm=4.0, room_below_mm=6.0)
    >>> way[:, 0].tolist(), way[:, -1].round(3).tolist()
    ([0.0, -1.765], [0.0, 1.765])
    """
    path = wheel_path(
        nucleus_diameter_mm=nucleus_diameter_mm,
        nucleus_thickness_mm=nucleus_thickness_mm,
        room_above_mm=room_above_mm,
        room_below_mm=room_below_mm,
    )
    if not np.isfinite(path.worst_girth_mm):
        return np.zeros((2, 0))
    start = 90.0 if nucleus_thickness_mm > nucleus_diameter_mm else 0.0
    tilt = np.linspace(start, float(path.crossing_tilt_deg), stations)
    turn = np.radians(tilt)
    half = np.hypot(nucleus_diameter_mm / 2 * np.sin(turn), nucleus_thickness_mm / 2 * np.cos(turn))
    floor, ceiling = np.maximum(-half, half - room_below_mm), np.minimum(half, room_above_mm - half)
    through = np.linspace(floor[-1], ceiling[-1], stations)
    tilts = np.concatenate([tilt, np.full(stations, tilt[-1]), tilt[::-1]])
    return np.stack([tilts, np.concatenate([floor, through, ceiling[::-1]])])


def room_needed_mm(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    girth_mm: Numbers | None,
    room_below_mm: Numbers,
    stations: int = TILT_STATIONS,
) -> Numbers:
    """Least room above in which the nucleus passes an opening that can be stretched to ``girth_mm``.

    Parameters: as :func:`wheel_path`; ``girth_mm`` of the stretched opening [mm], or None for its own least girth, so
    that it passes free. Result: room [mm]; infinite where the opening or the room below is too small for any way.

    >>> need = room_needed_mm(nucleus_diameter_mm=7.89, nucleus_thickness_mm=3.53, girth_mm=None, room_below_mm=6.0)
    >>> round(need, 2)
    4.35
    """
    shapes = [nucleus_diameter_mm, nucleus_thickness_mm, room_below_mm, 0 if girth_mm is None else girth_mm]
    shape = np.broadcast_shapes(*map(np.shape, shapes))
    line = _line(nucleus_diameter_mm, nucleus_thickness_mm, stations, shape)
    free = line.girth_mm[-1] * (1 + FREE_TOLERANCE)
    allowed = free if girth_mm is None else np.broadcast_to(np.asarray(girth_mm, dtype=np.float64), shape)
    below = np.broadcast_to(room_below_mm, shape)
    low = line.thinnest_mm
    high = 2 * np.max(line.half_height_mm, axis=0)
    never = ~(_best(line, high, below)[0] <= allowed)
    at_once = _best(line, low, below)[0] <= allowed
    least = low
    for _ in range(BISECTION_STEPS):
        middle = (low + high) / 2
        passes = _best(line, middle, below)[0] <= allowed
        low, high = np.where(passes, low, middle), np.where(passes, middle, high)
    missing = np.isnan(line.girth_mm[-1] + allowed + below)
    room = np.where(never, np.inf, np.where(at_once, least, high))
    return plain(np.where(missing, np.nan, room))


def _line(diameter: Numbers, thickness: Numbers, stations: int, shape: tuple[int, ...]) -> _Line:
    """All tilts, the widest girth first; a body thicker than wide is widest on its edge."""
    require_positive(nucleus_diameter_mm=diameter, nucleus_thickness_mm=thickness)
    wide, thick = np.broadcast_to(diameter, shape) / 2, np.broadcast_to(thickness, shape) / 2
    turn = np.linspace(0, 90, stations).reshape(-1, *(1 for _ in shape))
    tilt = np.where(thick > wide, 90 - turn, turn)
    cos2, sin2 = np.cos(np.radians(tilt)) ** 2, np.sin(np.radians(tilt)) ** 2
    other = 1 / np.sqrt(cos2 / wide**2 + sin2 / thick**2)
    girth = np.asarray(ellipse_perimeter_mm(diameter_mm=2 * np.broadcast_to(wide, tilt.shape), thickness_mm=2 * other))
    return _Line(tilt, girth, np.sqrt(wide**2 * sin2 + thick**2 * cos2), 2 * np.minimum(wide, thick))


def _best(line: _Line, above: Floats, below: Floats) -> tuple[Floats, Floats]:
    """Least over the crossing of the largest girth, with its tilt; between stations both are taken as straight."""
    met = np.maximum(_along(line, above), _along(line, below))
    largest = np.maximum.accumulate(met, axis=0)
    gap = line.girth_mm - largest
    crossed = gap <= 0
    first = np.where(crossed.any(axis=0), crossed.argmax(axis=0), len(gap) - 1)
    before = np.maximum(first - 1, 0)
    here, prior = _take(gap, first), _take(gap, before)
    share = np.where((here < 0) & (prior > 0), prior / np.where(prior > here, prior - here, 1), 1.0)
    girth = _between(line.girth_mm, before, first, share)
    tilt = _between(line.tilt_deg, before, first, share)
    room = np.minimum(above, below) >= line.thinnest_mm
    missing = np.isnan(girth + above + below)
    girth = np.where(missing, np.nan, np.where(room, girth, np.inf))
    return girth, np.where(missing | ~room, np.nan, tilt)


def _along(line: _Line, room: Floats) -> Floats:
    """Girth met at each tilt by a nucleus pressed against the wall: none where it lies wholly beyond the opening."""
    level = np.clip(room / line.half_height_mm - 1, 0, 1)
    return np.asarray(line.girth_mm * np.sqrt(1 - level**2), dtype=np.float64)


def _take(values: Floats, place: Places) -> Floats:
    return np.asarray(np.take_along_axis(values, np.asarray(place)[None], axis=0)[0], dtype=np.float64)


def _between(values: Floats, before: Places, after: Places, share: Floats) -> Floats:
    lower = _take(values, before)
    return lower + share * (_take(values, after) - lower)
