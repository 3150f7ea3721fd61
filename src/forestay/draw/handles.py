"""Handles of the eye from above: where each stands so that no two lie under one finger, and how it is written.

A handle stands where its value is read off. Where another is too near, it moves along its own line (round its circle,
out along its ray) to the nearest free place; a thin line leads back. Every hook's corner takes the pointer: the first
that is free is the control, the others are its twins, for a mouse only and below everything else.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from forestay.draw.above_geometry import STAY_LENGTH_MM, Scene
from forestay.draw.controls import BY_NAME, Control, value_of, value_words
from forestay.draw.gap_arc import main_run
from forestay.draw.palette import Palette
from forestay.draw.shapes import Point, Shape, at, turn
from forestay.draw.svg import element
from forestay.plan.model import Drawing, Measures
from forestay.text import tr

APART_PX = 72.0
"""Handles stand this far apart where there is room: 44 px where the picture is drawn at 62 %, as on a phone."""
LEAST_RADIUS_PX = 20.0
"""Radius of the smallest target: 40 px across, still above 24 px where the picture is drawn at 60 %."""
MOVED_PX = 4.0
TURN_DEG = 15
PUSH_PX = 18.0
PUSHES = 8
ON_A_CIRCLE = ("capsulorhexis_mm", "hook_reach_mm", "ring", "pupil_hooks")
"""Handles that mean the same at every place where they may stand."""


@dataclass(frozen=True)
class Screen:
    """Millimetres to pixels, y down."""

    scale: float
    middle: Point

    def point(self, p: Point) -> Point:
        """A point of the drawing on the screen."""
        return (self.middle[0] + self.scale * p[0], self.middle[1] - self.scale * p[1])

    def points(self, shape: Shape) -> list[Point]:
        """All points of a shape on the screen."""
        return [self.point(p) for p in shape.points]


@dataclass(frozen=True)
class _Wish:
    """A handle with the places where it may stand, the best first."""

    name: str
    places: tuple[Point, ...]
    centre: Point


@dataclass(frozen=True)
class Placed:
    """A handle in its place: ``from_`` is where its value is read off."""

    name: str
    place: Point
    from_: Point
    centre: Point
    twin: bool = False


def handles_of(scene: Scene, screen: Screen, drawing: Drawing, measures: Measures, palette: Palette) -> list[str]:
    """Every handle as markup, in the order of the controls."""
    placed = place(scene, screen, drawing, measures)
    made = [(_order(p), _handle(p, _radius(p, placed), drawing, measures, palette)) for p in placed]
    return [markup for _, markup in sorted(made, key=lambda pair: pair[0])]


def place(scene: Scene, screen: Screen, drawing: Drawing, measures: Measures) -> list[Placed]:
    """Where the handles stand: in turn, each at its first place that is free, else at the freest."""
    placed: list[Placed] = []
    for wish in _wishes(scene, screen, drawing, measures):
        control = BY_NAME.get(wish.name)
        if control is not None and value_of(control, measures) is None:
            continue
        chosen = max(wish.places, key=lambda p: min(APART_PX, _room(p, placed)))  # the first of equals
        slides = wish.name in ON_A_CIRCLE
        placed.append(Placed(wish.name, chosen, chosen if slides else wish.places[0], wish.centre))
    if any(p.name == "hook_reach_mm" for p in placed):
        for corner in scene.of("hook-corner"):
            spot = screen.point(corner.points[0])
            if _room(spot, placed) >= 2 * LEAST_RADIUS_PX:
                placed.append(Placed("hook_reach_mm", spot, spot, screen.middle, twin=True))
    return placed


def _room(spot: Point, placed: list[Placed]) -> float:
    return min((math.dist(spot, p.place) for p in placed), default=math.inf)


def _radius(one: Placed, placed: list[Placed]) -> float:
    if one.twin:
        return LEAST_RADIUS_PX
    nearest = min((math.dist(one.place, p.place) for p in placed if p is not one and not p.twin), default=APART_PX)
    return max(LEAST_RADIUS_PX, min(APART_PX, nearest) / 2)


def _wishes(scene: Scene, screen: Screen, drawing: Drawing, measures: Measures) -> Iterator[_Wish]:
    middle, bag = screen.middle, screen.point(scene.bag_centre)
    bag_px = screen.scale * scene.of("bag")[0].radius_mm
    outward = 0.0 if scene.side == "right" else 180.0
    lip = screen.point(scene.of("tunnel-middle")[0].points[0])
    yield _Wish("tunnel_clock", tuple(_along_ray(lip, middle)), middle)
    ends = screen.points(scene.of("outer-lip")[0])
    yield _Wish("tunnel_chord_mm", (ends[-1], ends[0], *_beyond(ends[-1], ends[0])), middle)
    run = main_run(drawing.gaps)
    if run is not None:
        out = drawing.bag_diameter_mm / 2 + STAY_LENGTH_MM / 2
        for name, hour in (("weak_from", run[0] - 0.5), ("weak_to", run[-1] + 0.5)):
            spot = screen.point(turn(Shape(name, "dot", (at(hour, out),)), scene.rotation_deg).points[0])
            yield _Wish(name, tuple(_along_ray(spot, middle)), middle)
    for shape in scene.of("ring-gap"):
        yield _Wish("ring_gap_clock", tuple(_along_ray(screen.point(shape.points[0]), bag)), bag)
    corners = tuple(screen.point(s.points[0]) for s in scene.of("hook-corner"))
    if corners:
        yield _Wish("hook_reach_mm", corners, middle)
    if measures.capsulorhexis_mm is not None:
        rim_px = screen.scale * measures.capsulorhexis_mm / 2
        yield _Wish("capsulorhexis_mm", tuple(_round(bag, rim_px, outward)), bag)
    yield _Wish("ring", tuple(_round(bag, bag_px, outward + 180)), bag)
    ports = tuple(screen.point(s.points[0]) for s in scene.of("port"))
    limbus_px = screen.scale * scene.of("limbus")[0].radius_mm
    yield _Wish("pupil_hooks", (*ports, *_round(middle, limbus_px, outward + 180)), middle)


def _round(centre: Point, radius: float, start_deg: float) -> Iterator[Point]:
    """Places on a circle, from ``start_deg`` to both sides in turn."""
    for step in range(0, 181, TURN_DEG):
        for angle in dict.fromkeys((start_deg + step, start_deg - step)):
            a = math.radians(angle)
            yield (centre[0] + radius * math.cos(a), centre[1] - radius * math.sin(a))


def _along_ray(spot: Point, centre: Point) -> Iterator[Point]:
    """The place itself, then farther out and somewhat farther in along its ray, then beside it on both sides."""
    away = math.dist(spot, centre) or 1.0
    turned = math.atan2(spot[1] - centre[1], spot[0] - centre[0])
    yield spot
    for beside in range(0, 2 * TURN_DEG + 1, TURN_DEG):
        for step in range(PUSHES + 1):
            for by in (step * PUSH_PX, -step * PUSH_PX):
                for angle in (turned + math.radians(beside), turned - math.radians(beside)):
                    if away / 2 < away + by < centre[0] - PUSH_PX:
                        far = away + by
                        yield (centre[0] + far * math.cos(angle), centre[1] + far * math.sin(angle))


def _beyond(end: Point, other: Point) -> Iterator[Point]:
    """Places beyond one end of a line."""
    length = math.dist(end, other) or 1.0
    for step in range(1, PUSHES):
        share = step * PUSH_PX / length
        yield (end[0] + share * (end[0] - other[0]), end[1] + share * (end[1] - other[1]))


def _order(placed: Placed) -> tuple[bool, int]:
    """Twins below the rest; the rest in the order in which Tab meets them, as the fields stand below the drawing."""
    names = [*BY_NAME, "weak_from", "weak_to"]
    return not placed.twin, names.index(placed.name)


def _handle(p: Placed, radius: float, drawing: Drawing, measures: Measures, palette: Palette) -> str:
    x, y = p.place
    parts = [
        element("circle", cx=x, cy=y, r=radius, fill=palette.card, fill_opacity=0, class_="target"),
        element("circle", cx=x, cy=y, r=5 if p.twin else 8, **_knob(palette), class_="knob"),
        element("circle", cx=x, cy=y, r=2.4, fill=palette.ink, class_="knob-centre"),
    ]
    if math.dist(p.place, p.from_) > MOVED_PX:
        (ax, ay) = p.from_
        line: Said = {"stroke": palette.soft, "stroke_width": 1.2, "stroke_dasharray": "2 3", "class_": "leader"}
        parts.insert(0, element("line", x1=ax, y1=ay, x2=x, y2=y, **line))
    said = _said(p.name, drawing, measures)
    if p.twin:
        said = {k: v for k, v in said.items() if k.startswith("data_")} | {"aria_hidden": "true"}
    name = "handle twin" if p.twin else "handle"
    return element("g", *parts, class_=name, data_centre_x=p.centre[0], data_centre_y=p.centre[1], **said)


def _knob(palette: Palette) -> dict[str, str | float]:
    return {"fill": palette.card, "stroke": palette.ink, "stroke_width": 2.4}


Said = dict[str, str | float | None]


def _said(name: str, drawing: Drawing, measures: Measures) -> Said:
    """What a page and a screen reader must know of a handle."""
    control = BY_NAME.get(name)
    if control is not None:
        return _of_control(control, value_of(control, measures) or 0.0)
    run = main_run(drawing.gaps) or (12.0,)
    hour = run[0] if name == "weak_from" else run[-1]
    words = (
        tr("gap from {hour:g} o'clock", hour=hour) if name == "weak_from" else tr("gap to {hour:g} o'clock", hour=hour)
    )
    label = tr("Gap in the zonule, from") if name == "weak_from" else tr("Gap in the zonule, to")
    return _slider(name, "angular", 1, words) | {
        "aria_label": label,
        "aria_valuemin": min(1.0, hour),
        "aria_valuemax": 12.0,
        "aria_valuenow": hour,
    }


def _of_control(control: Control, value: float) -> Said:
    return _slider(control.name, control.kind, control.step, value_words(control, value)) | {
        "aria_label": tr(control.label),
        "aria_valuemin": min(control.low, value),
        "aria_valuemax": max(control.high, value),
        "aria_valuenow": value,
        "data_options": " ".join(control.options) or None,
    }


def _slider(name: str, kind: str, step: float, words: str) -> Said:
    return {
        "data_control": name,
        "data_kind": kind,
        "data_step": step,
        "role": "slider",
        "tabindex": "0",
        "aria_valuetext": words,
    }
