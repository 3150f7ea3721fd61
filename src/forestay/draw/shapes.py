"""Shapes in millimetres, before anything is SVG: what a drawing is made of, and how it is mirrored and turned.

Frame: x to the examiner's right, y up, the limbus' centre at the origin. Every shape is a list of points with an
optional radius, so that the mirror image of a drawing is the same list with x negated, exactly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from forestay.frame import Side, angle_deg

Point = tuple[float, float]
Form = Literal["circle", "line", "outline", "dot", "label"]
KEPT = 8192
"""How many shapes are kept as they were last made: while one control moves, most of a drawing stays as it is."""
DIGITS = 9
"""Coordinates are kept to this many decimals of a millimetre."""


@dataclass(frozen=True)
class Shape:
    """One primitive of a drawing.

    ``form``: ``circle`` (one point, ``radius_mm``), ``line`` (open path), ``outline`` (closed path), ``dot`` (a mark of
    fixed size at a point), ``label`` (upright text at a point). ``kind`` says what it is of the eye; ``weight`` is a
    load relative to a healthy eye where the shape is a stay.
    """

    kind: str
    form: Form
    points: tuple[Point, ...]
    radius_mm: float = 0.0
    weight: float = 1.0
    text: str = ""
    hour: float | None = None


def clean(x: float, y: float) -> Point:
    """A point with noise beyond :data:`DIGITS` and negative zeros taken off."""
    return (round(x, DIGITS) + 0.0, round(y, DIGITS) + 0.0)


@lru_cache(KEPT)
def at(hour: float, radius_mm: float, centre: Point = (0.0, 0.0)) -> Point:
    """The point at a clock position [hours] and radius [mm].

    >>> at(12, 5.0), at(3, 5.0)
    ((0.0, 5.0), (5.0, 0.0))
    """
    angle = math.radians(angle_deg(hour))
    return clean(centre[0] + radius_mm * math.cos(angle), centre[1] + radius_mm * math.sin(angle))


def arc(start_hour: float, end_hour: float, radius_mm: float, centre: Point = (0.0, 0.0)) -> tuple[Point, ...]:
    """Points of an arc, clockwise by the hours from start to end, one about every two degrees."""
    span = (end_hour - start_hour) % 12.0 or 12.0
    steps = max(2, math.ceil(span * 15))
    return tuple(at(start_hour + span * i / steps, radius_mm, centre) for i in range(steps + 1))


def along(hour: float, across_mm: float, out_mm: float) -> Point:
    """The point ``out_mm`` from the centre towards a clock position, then ``across_mm`` clockwise from there."""
    angle = math.radians(angle_deg(hour))
    out_x, out_y = math.cos(angle), math.sin(angle)
    return clean(out_mm * out_x + across_mm * out_y, out_mm * out_y - across_mm * out_x)


@lru_cache(KEPT)
def mirror(shape: Shape) -> Shape:
    """The shape in the other eye: x negated."""
    return replace(shape, points=tuple(clean(-x, y) for x, y in shape.points))


@lru_cache(KEPT)
def turn(shape: Shape, rotation_deg: float) -> Shape:
    """The shape turned counter-clockwise. Quarter turns are exact."""
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    angle = rotation_deg % 360.0
    c, s = quarter.get(angle) or (math.cos(math.radians(angle)), math.sin(math.radians(angle)))
    return replace(shape, points=tuple(clean(c * x - s * y, s * x + c * y) for x, y in shape.points))


def seat_rotation_deg(side: Side, seat: str) -> float:
    """How far the eye's frame is turned, counter-clockwise, so that the surgeon's seat lies at the bottom [degrees].

    The examiner's frame has 12 o'clock at the top. A superior seat brings 12 to the bottom, a temporal seat the
    temporal hour: 9 in a right eye, 3 in a left eye.

    >>> seat_rotation_deg("right", "superior"), seat_rotation_deg("left", "superior")
    (180.0, 180.0)
    >>> seat_rotation_deg("right", "temporal"), seat_rotation_deg("left", "temporal")
    (90.0, 270.0)
    """
    if seat == "temporal":
        return 90.0 if side == "right" else 270.0
    return 180.0


def convex_hull(points: Sequence[Point]) -> tuple[Point, ...]:
    """The convex hull, counter-clockwise from the leftmost point (Andrew's monotone chain)."""
    ordered = sorted(set(points))
    if len(ordered) < 3:
        return tuple(ordered)

    def half(sequence: Sequence[Point]) -> list[Point]:
        kept: list[Point] = []
        for x, y in sequence:
            while len(kept) > 1 and _turns_right(kept[-2], kept[-1], (x, y)):
                kept.pop()
            kept.append((x, y))
        return kept[:-1]

    return (*half(ordered), *half(ordered[::-1]))


def _turns_right(a: Point, b: Point, c: Point) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) <= 0


def perimeter_mm(points: Sequence[Point]) -> float:
    """Length of a closed path [mm]."""
    return sum(math.dist(a, b) for a, b in zip(points, (*points[1:], *points[:1]), strict=True))
