"""The opening that hooks make of a pupil: its shape, its edge, and the largest circle seen through it.

The edge of a small pupil on hooks is a taut loop: straight between the hooks. The opening is then the polygon of the
hooks' corners. Hooks draw outward only, so that they never close a pupil: where that polygon holds no circle as wide
as the pupil was, the edge is straight only as far as it still shows such a circle. All of it is one shape here, the
hull of the corners and of a disc about the pupil's centre: the least disc, from none (taut) to the whole round pupil,
that leaves a circle as wide as the pupil. So more hooks, or hooks drawn farther, never show less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.errors import InvalidInput
from forestay.frame import mirror_hour, wrap_hour
from forestay.mechanics.geometry import Floats, Numbers, require, require_positive
from forestay.mechanics.hull import Flags, Hull, goes_round, hull_of_disc
from forestay.text import tr

Indices = NDArray[np.intp]

FULL_TURN = 2 * np.pi
HOURS_PER_TURN = 12
TOLERANCE = 1e-8
"""Share of the pupil's width by which a circle may differ and still count as as wide: clock positions are rounded."""
LEAST_DISC_LIMIT = 1e-9
"""Share of the pupil that stands for no disc at all where the hooks do not go round its centre."""
HALVING_STEPS = 40
"""Halvings of the interval in which the least disc lies."""
CLOCK_TOLERANCE_DIGITS = 9
"""Decimal places of an hour to which a clock position counts: an eye and its mirror image meet in the same digits."""


@dataclass(frozen=True)
class PupilConstants:
    """How exactly hooks are placed, from the evidence."""

    PREFIX: ClassVar[str] = "pupil"
    hook_reach_sd_mm: float
    hook_angle_sd_rad: float


@dataclass(frozen=True)
class Opening:
    """What hooks make of the pupil; each a number, or draws on the last axis."""

    area_mm2: Numbers
    largest_circle_mm: Numbers
    """Diameter of the largest circle inside, centred anywhere."""
    margin_mm: Numbers
    """Length of the pupil's edge."""
    margin_stretch: Numbers
    """The same, divided by the length of the round edge."""
    taut: bool | Flags
    """Whether the edge is drawn straight between the hooks."""
    disc_mm: Numbers
    """Diameter of the disc about the pupil's centre round which the edge lies; 0 where it is taut."""
    straight_circle_mm: Numbers
    """Diameter of the largest circle if the edge were straight between the hooks whatever it closes."""
    holding: Flags
    """Whether each hook, in the order given, holds the edge."""


def evenly_spaced_clocks(count: int, first_clock: float) -> tuple[float, ...]:
    """Clock positions of ``count`` hooks evenly round the pupil, the first at ``first_clock`` [hours].

    >>> evenly_spaced_clocks(4, 1.5)
    (1.5, 4.5, 7.5, 10.5)
    """
    require(holds=count >= 0, field="count", value=count, allowed=tr("0 or more"))
    return tuple(wrap_hour(first_clock + HOURS_PER_TURN * i / count) for i in range(count))


def opening(
    *,
    clocks: Sequence[float],
    reach_mm: ArrayLike,
    pupil_mm: Numbers,
    corner_radius_mm: float,
    clock_scatter_hours: ArrayLike | None = None,
) -> Opening:
    """The opening of a round pupil on hooks.

    Parameters: ``clocks`` of the h hooks [hours, the eye's], ``reach_mm`` (h,) or (h, n) from the pupil's centre to
    each hook's sharp corner [mm], ``pupil_mm`` diameter before hooks, a number or (n,) [mm], ``corner_radius_mm``
    which rounds the corners inside the same sides, 0 for sharp [mm], ``clock_scatter_hours`` (h, n) added to the
    clocks of each draw. Result: :class:`Opening`.

    The opening is the polygon of the corners if that goes round the pupil's centre and holds a circle as wide as the
    pupil, else the hull of the corners and of the least disc that leaves such a circle. No hooks: the round pupil. No
    measured stretch at which a sphincter tears is known; none is applied. Two hooks at one clock position, and a
    rounding that eats up a side, are refused.

    >>> square = opening(clocks=(1.5, 4.5, 7.5, 10.5), reach_mm=[12.5**0.5] * 4, pupil_mm=3.0, corner_radius_mm=0)
    >>> [round(x, 3) for x in (square.margin_mm, square.area_mm2, square.largest_circle_mm, square.margin_stretch)]
    [20.0, 25.0, 5.0, 2.122]
    """
    pupil, reach = np.asarray(pupil_mm, dtype=np.float64), np.asarray(reach_mm, dtype=np.float64)
    require_positive(pupil_mm=pupil, reach_mm=reach)
    require(holds=corner_radius_mm >= 0, field="corner_radius_mm", value=corner_radius_mm, allowed=tr("0 or more"))
    single = pupil.ndim == 0 and reach.ndim <= 1 and clock_scatter_hours is None
    rows = reach[:, np.newaxis] if reach.ndim == 1 else reach
    require(holds=len(rows) == len(clocks), field="reach_mm", value=len(rows), allowed=tr("one row for each hook"))
    angle, distance, disc, order = _places(clocks, rows, pupil, clock_scatter_hours)
    found = _opening(angle, distance, disc, corner_radius_mm)
    holding = np.empty_like(found.hull.on_hull)
    holding[order] = found.hull.on_hull
    edge, hull = FULL_TURN * disc, found.hull
    circle = 2 * np.maximum(found.straight, disc)
    values = (hull.area_mm2, circle, hull.perimeter_mm, hull.perimeter_mm / edge)
    if single:
        area, widest, margin, stretch = (float(v[0]) for v in values)
        more = (bool(found.taut[0]), 2 * float(found.disc[0]), 2 * float(found.straight[0]))
        return Opening(area, widest, margin, stretch, *more, holding[:, 0])
    return Opening(*values, found.taut, 2 * found.disc, 2 * found.straight, holding)


def _places(
    clocks: Sequence[float], rows: Floats, pupil: Floats, clock_scatter_hours: ArrayLike | None
) -> tuple[Floats, Floats, Floats, Indices]:
    """Angle and distance of the corners (h, n), the round pupil's radius (n,), and the order of the hooks."""
    order, hours, sense = _one_way_round(clocks, rows)
    moved = np.zeros((len(clocks), 1)) if clock_scatter_hours is None else np.asarray(clock_scatter_hours, np.float64)
    angle = (hours[:, np.newaxis] + sense * moved[order]) * (FULL_TURN / HOURS_PER_TURN)
    angle, distance, half = np.broadcast_arrays(angle, rows[order], np.atleast_1d(pupil / 2)[np.newaxis])
    disc = half[0] if len(half) else np.broadcast_to(np.atleast_1d(pupil / 2), half.shape[1:])
    return angle, distance, disc, order


@dataclass(frozen=True)
class _Shape:
    """The hull of each draw, its disc's radius, and the radius of the circle that straight sides alone would show."""

    hull: Hull
    disc: Floats
    straight: Floats
    taut: Flags


def _opening(angle: Floats, distance: Floats, pupil: Floats, corner_radius_mm: float) -> _Shape:
    """The hull of the corners and of the least disc that leaves a circle as wide as the ``pupil`` (n,), a radius."""
    straight, least, known = _straight(angle, distance, pupil)
    enough = straight >= pupil * (1 - TOLERANCE)
    disc = np.where(enough, least, pupil)
    whole = _hulls(angle, distance, pupil, 0.0, known & ~enough).circle_radius_mm
    between = whole > pupil * (1 + TOLERANCE)
    if between.any():
        disc[between] = _least_disc(angle[:, between], distance[:, between], pupil[between])
    hull = _hulls(angle, distance, disc, corner_radius_mm, known)
    area, perimeter, radius = (np.where(known, v, np.nan) for v in (hull.area_mm2, hull.perimeter_mm, disc))
    return _Shape(Hull(area, perimeter, hull.circle_radius_mm, hull.on_hull), radius, straight, enough & (least == 0))


def _straight(angle: Floats, distance: Floats, pupil: Floats) -> tuple[Floats, Floats, Flags]:
    """Radius of the circle that straight sides show (n,), of the disc in it that stands for none, and what is known."""
    known = ~np.isnan(np.concatenate([angle, distance, pupil[np.newaxis]])).any(axis=0)
    round_it = goes_round(angle_rad=angle) & known
    least = np.where(round_it, 0, LEAST_DISC_LIMIT * pupil)
    return (
        np.where(known, _hulls(angle, distance, least, 0.0, known).circle_radius_mm, np.nan),
        least,
        known,
    )


def _least_disc(angle: Floats, distance: Floats, pupil: Floats) -> Floats:
    """Radius of the least disc whose hull with the corners holds a circle of radius ``pupil`` (n,), by halving."""
    low, high = np.zeros_like(pupil), np.array(pupil)
    for _ in range(HALVING_STEPS):
        middle = (low + high) / 2
        hull = hull_of_disc(angle_rad=angle, distance_mm=distance, disc_radius_mm=middle, corner_radius_mm=0.0)
        holds = hull.circle_radius_mm >= pupil
        low, high = np.where(holds, low, middle), np.where(holds, middle, high)
    return high


def _hulls(angle: Floats, distance: Floats, disc: Floats, corner_radius_mm: float, wanted: Flags) -> Hull:
    """The hull for the ``wanted`` draws; zeros elsewhere."""
    area, perimeter, radius = np.zeros((3, *disc.shape))
    on_hull = np.zeros(angle.shape, dtype=bool)
    if wanted.any():
        found = hull_of_disc(
            angle_rad=angle[:, wanted],
            distance_mm=distance[:, wanted],
            disc_radius_mm=disc[wanted],
            corner_radius_mm=corner_radius_mm,
        )
        area[wanted], perimeter[wanted], radius[wanted] = found.area_mm2, found.perimeter_mm, found.circle_radius_mm
        on_hull[:, wanted] = found.on_hull
    return Hull(area, perimeter, radius, on_hull)


def _one_way_round(clocks: Sequence[float], reach: Floats) -> tuple[Indices, Floats, int]:
    """Order of the hooks, their hours, and 1 or -1 where the mirror image was taken.

    Of an arrangement and its mirror image the one that comes first in order is worked out, so that both give the same
    numbers to the last digit.
    """
    first = reach[:, 0] if reach.size else reach.reshape(-1)
    as_given, mirrored = (
        sorted((wrap_hour(round(wrap_hour(hour), CLOCK_TOLERANCE_DIGITS)), float(first[i]), i) for i, hour in pairs)
        for pairs in (list(enumerate(clocks)), [(i, mirror_hour(c)) for i, c in enumerate(clocks)])
    )
    for one, other in pairwise([*as_given, *as_given[:1]]):
        if len(as_given) > 1 and one[0] == other[0]:
            message = tr("Two hooks stand at {clock:g} o'clock; each needs a place of its own.", clock=clocks[one[2]])
            raise InvalidInput(
                message, field="hooks", value=float(clocks[one[2]]), allowed=tr("different clock positions")
            )
    turned = [entry[:2] for entry in mirrored] < [entry[:2] for entry in as_given]
    chosen = mirrored if turned else as_given
    order = np.array([entry[2] for entry in chosen], dtype=np.intp)
    return order, np.array([entry[0] for entry in chosen], dtype=np.float64), -1 if turned else 1


def opening_circle_mm(
    *,
    clocks: Sequence[float],
    reach_mm: ArrayLike,
    pupil_mm: Numbers,
    clock_scatter_hours: ArrayLike | None = None,
) -> Numbers:
    """Diameter of the largest circle in the opening, centred anywhere: :func:`opening` for many draws at once.

    Parameters as :func:`opening`, sharp corners (rounding inside the same sides leaves the circle as it is).
    Result: diameter [mm], (n,) for draws.

    >>> circle = opening_circle_mm(clocks=(12, 4, 8), reach_mm=[3.5, 3.5, 3.5], pupil_mm=np.array([2.0, 3.0, 6.0]))
    >>> circle.round(2).tolist()
    [3.5, 3.5, 6.0]
    """
    reach = np.asarray(reach_mm, dtype=np.float64)
    if clock_scatter_hours is None and np.ndim(pupil_mm) == 0 and reach.ndim == 1:
        return _one_circle_mm(tuple(clocks), tuple(reach.tolist()), float(pupil_mm))
    pupil, rows = np.asarray(pupil_mm, dtype=np.float64), reach[:, np.newaxis] if reach.ndim == 1 else reach
    require_positive(pupil_mm=pupil, reach_mm=reach)
    require(holds=len(rows) == len(clocks), field="reach_mm", value=len(rows), allowed=tr("one row for each hook"))
    angle, distance, disc, _ = _places(clocks, rows, pupil, clock_scatter_hours)
    return 2 * np.maximum(_straight(angle, distance, disc)[0], disc)


@lru_cache(maxsize=512)
def _one_circle_mm(clocks: tuple[float, ...], reach_mm: tuple[float, ...], pupil_mm: float) -> Numbers:
    """The circle of one opening, remembered: a plan asks the same hooks for each technique."""
    return opening(clocks=clocks, reach_mm=reach_mm, pupil_mm=pupil_mm, corner_radius_mm=0.0).largest_circle_mm
