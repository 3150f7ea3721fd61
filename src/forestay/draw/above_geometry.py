"""The eye from above as shapes in millimetres: built in one frame, mirrored for a left eye, turned last by the seat.

Everything that the plan gives is drawn to scale. The module's own constants are proportions of the drawing where the
plan gives nothing (length of a stay, depth of the inner lip); they are not measures of any eye, and the description of
the picture says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import cast

from forestay.draw.gap_arc import gap_runs, main_run
from forestay.draw.shapes import (
    Point,
    Shape,
    along,
    arc,
    at,
    convex_hull,
    mirror,
    seat_rotation_deg,
    turn,
)
from forestay.frame import HOURS, Side, hour_distance, mirror_by_hour, mirror_hour, wrap_hour
from forestay.plan.model import Drawing, Measures
from forestay.text import tr

STAY_LENGTH_MM = 1.4
SCLERA_WIDTH_MM = 2.0
INNER_LIP_INSIDE_MM = 1.2
PORT_OUTSIDE_MM = 0.35
NUMBERS_OUTSIDE_MM = 2.75
STAYS_PER_HOUR = 10
HOUR_DIGITS = 9
RING_INSIDE_MM = 0.22
RING_GAP_HOURS = 0.9


@dataclass(frozen=True)
class Scene:
    """All shapes, already as the surgeon sees them, and how the frame was turned."""

    shapes: tuple[Shape, ...]
    side: Side
    seat: str
    rotation_deg: float
    bag_centre: Point
    reach_mm: float

    def of(self, kind: str) -> tuple[Shape, ...]:
        """The shapes of one kind, in drawing order."""
        return tuple(s for s in self.shapes if s.kind == kind)


def geometry(drawing: Drawing, measures: Measures) -> Scene:
    """The whole drawing in mm as the surgeon sits. A mirrored case gives the same points with x negated, exactly."""
    side = cast(Side, drawing.side)
    drawing, measures = _in_one_frame(drawing, measures, mirror_hour if side == "left" else wrap_hour)
    built = [*_frame(drawing, side, measures), *_capsule(drawing, measures), *_opening(drawing, measures)]
    built += _tunnel(drawing, measures)
    centre = Shape("bag-centre", "dot", (_bag_centre(drawing),))
    rotation = seat_rotation_deg(side, drawing.seat)
    placed = [turn(mirror(s) if side == "left" else s, rotation) for s in (*built, centre)]
    reach = max(math.hypot(*p) + s.radius_mm for s in placed for p in s.points)
    return Scene(tuple(placed[:-1]), side, drawing.seat, rotation, placed[-1].points[0], reach)


def gap_words(run: Sequence[float]) -> str:
    """``gap 6–7`` or ``gap 3``, in the eye's own hours."""
    first, last = f"{run[0]:g}", f"{run[-1]:g}"
    return tr("gap {hours}", hours=first if len(run) == 1 else f"{first}–{last}")


def _own_hour(hour: float, side: Side) -> float:
    """The hour printed for a position that was worked out in a right eye's frame."""
    return wrap_hour(hour) if side == "right" else mirror_hour(hour)


def _in_one_frame(drawing: Drawing, measures: Measures, hour_of: Callable[[float], float]) -> tuple[Drawing, Measures]:
    """The case as a right eye, with clock positions rounded so that mirroring twice loses nothing."""

    def settle(hours: Sequence[float]) -> tuple[float, ...]:
        return tuple(wrap_hour(round(hour_of(h), HOUR_DIGITS)) for h in hours)

    by_hour = mirror_by_hour if drawing.side == "left" else tuple
    clock = drawing.displacement_clock
    one_drawing = replace(
        drawing,
        zonule=by_hour(drawing.zonule),
        load=by_hour(drawing.load),
        gaps=settle(drawing.gaps),
        displacement_clock=None if clock is None else settle((clock,))[0],
    )
    one_measures = replace(
        measures,
        hook_clocks=settle(measures.hook_clocks),
        capsule_hook_clocks=settle(measures.capsule_hook_clocks),
        tunnel_clock=settle((measures.tunnel_clock,))[0],
        ring_gap_clock=None if measures.ring_gap_clock is None else settle((measures.ring_gap_clock,))[0],
    )
    return one_drawing, one_measures


def _limbus_mm(drawing: Drawing) -> float:
    return drawing.white_to_white_mm / 2


def _bag_centre(drawing: Drawing) -> Point:
    if drawing.displacement_clock is None:
        return (0.0, 0.0)
    return at(drawing.displacement_clock, drawing.displacement_mm)


def _frame(drawing: Drawing, side: Side, measures: Measures) -> list[Shape]:
    limbus = _limbus_mm(drawing)
    shapes = [
        Shape("sclera", "circle", ((0.0, 0.0),), limbus + SCLERA_WIDTH_MM),
        Shape("limbus", "circle", ((0.0, 0.0),), limbus),
    ]
    beyond_lip = measures.tunnel_distance_mm + measures.tunnel_sagitta_mm + 1.0
    for hour in HOURS:
        near_tunnel = hour_distance(hour, measures.tunnel_clock) < 0.75
        out = limbus + (max(NUMBERS_OUTSIDE_MM, beyond_lip - 0.4) if near_tunnel else NUMBERS_OUTSIDE_MM)
        own = _own_hour(hour, side)
        shapes.append(Shape("clock", "label", (at(hour, out),), text=f"{own:g}", hour=own))
    return shapes


def _lost(hour: float, gaps: Sequence[float]) -> bool:
    return any(hour_distance(hour, g) <= 0.5 for g in gaps)


def _stays(drawing: Drawing, side: Side) -> list[Shape]:
    centre, bag = _bag_centre(drawing), drawing.bag_diameter_mm / 2
    shapes = []
    for hour, share, load in zip(HOURS, drawing.zonule, drawing.load, strict=True):
        count = round(STAYS_PER_HOUR * min(1.0, max(0.0, share)))
        for k in range(count):
            clock = hour + (2 * k + 1 - count) / (2 * count)
            if _lost(clock, drawing.gaps):
                continue
            ends = (at(clock, bag, centre), at(clock, bag + STAY_LENGTH_MM))
            shapes.append(Shape("stay", "line", ends, weight=load, hour=_own_hour(hour, side)))
    for run in gap_runs(drawing.gaps):
        start, end = run[0] - 0.5, run[-1] + 0.5
        shapes.append(Shape("gap", "line", arc(start, end, bag + STAY_LENGTH_MM / 2)))
        own = run if side == "right" else tuple(mirror_hour(h) for h in reversed(run))
        middle = start + ((end - start) % 12.0) / 2
        shapes.append(Shape("gap-label", "label", (at(middle, bag + STAY_LENGTH_MM + 0.55),), text=gap_words(own)))
    return shapes


def _ring_gap_hour(drawing: Drawing, measures: Measures) -> float:
    """Where the ring is drawn open: as planned, else away from the lost hours, as it lies once turned into place."""
    if measures.ring_gap_clock is not None:
        return measures.ring_gap_clock
    run = main_run(drawing.gaps)
    return 12.0 if run is None else wrap_hour(run[0] + ((run[-1] - run[0]) % 12.0) / 2 + 6.0)


def _capsule(drawing: Drawing, measures: Measures) -> list[Shape]:
    centre, bag = _bag_centre(drawing), drawing.bag_diameter_mm / 2
    shapes = [Shape("bag", "circle", (centre,), bag), *_stays(drawing, cast(Side, drawing.side))]
    if measures.ring != "none":
        gap, radius = _ring_gap_hour(drawing, measures), bag - RING_INSIDE_MM
        ends = (gap + RING_GAP_HOURS / 2, gap - RING_GAP_HOURS / 2)
        shapes.append(Shape("ring", "line", arc(ends[0], ends[1], radius, centre)))
        shapes += [Shape("eyelet", "dot", (at(h, radius - 0.12, centre),)) for h in ends]
        shapes.append(Shape("ring-gap", "dot", (at(gap, radius, centre),), hour=gap))
    if drawing.nucleus_diameter_mm is not None:
        shapes.append(Shape("nucleus", "circle", (centre,), drawing.nucleus_diameter_mm / 2))
    if measures.capsulorhexis_mm is not None:
        rim = measures.capsulorhexis_mm / 2
        shapes.append(Shape("capsulorhexis", "circle", (centre,), rim))
        for hour in measures.capsule_hook_clocks:
            ends_of_hook = (at(hour, _limbus_mm(drawing) + PORT_OUTSIDE_MM), at(hour, rim - 0.15, centre))
            shapes.append(Shape("capsule-hook", "line", ends_of_hook, hour=hour))
    return shapes


def _opening(drawing: Drawing, measures: Measures) -> list[Shape]:
    """The pupil's edge: a taut polygon where that shows more than the pupil did, else round, bulging to the hooks."""
    limbus = _limbus_mm(drawing)
    corners = [at(h, measures.hook_reach_mm) for h in measures.hook_clocks] if measures.hook_reach_mm else []
    outline: tuple[Point, ...] = ()
    if drawing.pupil_mm is not None:
        outline = arc(12.0, 12.0, drawing.pupil_mm / 2)[:-1]
    if corners:
        polygon = convex_hull(corners)
        slack = drawing.pupil_mm is not None and (drawing.opening_circle_mm or 0.0) <= drawing.pupil_mm
        outline = convex_hull([*corners, *outline]) if slack or not _holds_centre(polygon) else polygon
    shapes = [Shape("iris", "circle", ((0.0, 0.0),), limbus)]
    if outline:
        shapes.append(Shape("opening", "outline", outline))
    for hour, corner in zip(measures.hook_clocks, corners, strict=False):
        port = at(hour, limbus + PORT_OUTSIDE_MM)
        shapes.append(Shape("hook", "line", (port, corner), hour=hour))
        shapes.append(Shape("port", "dot", (port,), hour=hour))
        shapes.append(Shape("hook-corner", "dot", (corner,), hour=hour))
    return shapes


def _holds_centre(polygon: Sequence[Point]) -> bool:
    pairs = zip(polygon, (*polygon[1:], *polygon[:1]), strict=True)
    return len(polygon) > 2 and all(a[0] * b[1] - a[1] * b[0] > 0 for a, b in pairs)


def _tunnel(drawing: Drawing, measures: Measures) -> list[Shape]:
    hour, limbus = measures.tunnel_clock, _limbus_mm(drawing)
    outer, inner = outer_lip(measures, limbus), inner_lip(measures, limbus)
    return [
        Shape("tunnel-side", "line", (outer[0], inner[0])),
        Shape("tunnel-side", "line", (outer[-1], inner[-1])),
        Shape("inner-lip", "line", inner),
        Shape("outer-lip", "line", outer, text=measures.tunnel_shape),
        Shape("tunnel-middle", "dot", (along(hour, 0.0, limbus + measures.tunnel_distance_mm),), hour=hour),
    ]


def outer_lip(measures: Measures, limbus_mm: float) -> tuple[Point, ...]:
    """The outer lip in the eye's frame, clockwise; a frown or chevron is nearest the limbus mid-way.

    The lip is drawn flat, in the plane of the limbus; the plan's length of a lip is that of the lip laid flat.
    """
    hour, out = measures.tunnel_clock, limbus_mm + measures.tunnel_distance_mm
    half, sagitta = measures.tunnel_outer_mm / 2, measures.tunnel_sagitta_mm
    if measures.tunnel_shape == "straight" or sagitta <= 0:
        return (along(hour, -half, out), along(hour, 0.0, out), along(hour, half, out))
    if measures.tunnel_shape == "chevron":
        return (along(hour, -half, out + sagitta), along(hour, 0.0, out), along(hour, half, out + sagitta))
    radius = (half * half + sagitta * sagitta) / (2 * sagitta)
    sweep = math.atan2(half, radius - sagitta)
    turns = [sweep * (2 * i / 32 - 1) for i in range(33)]
    return tuple(along(hour, radius * math.sin(t), out + radius * (1 - math.cos(t))) for t in turns)


def inner_lip(measures: Measures, limbus_mm: float) -> tuple[Point, ...]:
    """The inner lip in the eye's frame, clockwise: the limbus' own curve, shifted into the cornea."""
    half = min(measures.tunnel_inner_mm / 2, limbus_mm)
    sweep = math.asin(half / limbus_mm)
    turns = [sweep * (2 * i / 32 - 1) for i in range(33)]
    shift = -INNER_LIP_INSIDE_MM
    hour = measures.tunnel_clock
    return tuple(along(hour, limbus_mm * math.sin(t), shift + limbus_mm * math.cos(t)) for t in turns)
