"""The front of the eye in section along the 3–9 meridian, 3 at the left as a superior seat sees it.

Drawn to scale: width of the cornea and its thickness, depth of the chamber, bag, lens, nucleus, opening of the pupil.
The module's own constants are proportions of the drawing where the plan gives nothing; the description says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from forestay.draw.names import side_words
from forestay.draw.palette import Palette
from forestay.draw.shapes import KEPT, Point, Shape
from forestay.draw.strokes import stay_stroke
from forestay.draw.svg import element, label, path, picture
from forestay.frame import HOURS, hour_distance, temporal_hour
from forestay.plan.model import Drawing, Measures
from forestay.text import tr

WIDTH = 560.0
PX_PER_MM = 34.0
TOP_PX = 76.0
CORNEA_BULGE = 0.22
"""Height of the cornea over its width, as drawn."""
STAY_LENGTH_MM = 1.4
STAY_SPREAD_MM = 1.2
STAYS = 5
IRIS_THICKNESS_MM = 0.35
UNKNOWN_DEPTH_MM = 3.0
UNKNOWN_THICKNESS_MM = 4.5


@dataclass(frozen=True)
class Section:
    """Shapes in mm (x towards 9 o'clock, y up, front of the cornea at 0) and where the lens stands."""

    shapes: tuple[Shape, ...]
    lens_front_mm: float
    cornea_back_mm: float
    lowest_mm: float

    def of(self, kind: str) -> tuple[Shape, ...]:
        """The shapes of one kind."""
        return tuple(s for s in self.shapes if s.kind == kind)


def section_geometry(drawing: Drawing, measures: Measures) -> Section:
    """The section's shapes in mm. A mirrored case gives the same points with x negated, exactly."""
    depth = drawing.chamber_depth_mm if drawing.chamber_depth_mm is not None else UNKNOWN_DEPTH_MM
    thick = drawing.lens_thickness_mm if drawing.lens_thickness_mm is not None else UNKNOWN_THICKNESS_MM
    cornea = drawing.corneal_thickness_um / 1000
    half, bulge = drawing.white_to_white_mm / 2, CORNEA_BULGE * drawing.white_to_white_mm
    middle = -(depth + thick / 2)
    shapes = [
        Shape("cornea-front", "line", _cap(half, bulge, 0.0)),
        Shape("cornea-back", "line", _cap(half - cornea / 2, bulge - cornea, -cornea)),
        Shape("bag", "outline", _ellipse(drawing.bag_diameter_mm / 2, thick / 2, middle)),
    ]
    if drawing.nucleus_diameter_mm is not None and drawing.nucleus_thickness_mm is not None:
        axes = (drawing.nucleus_diameter_mm / 2, drawing.nucleus_thickness_mm / 2)
        shapes.append(Shape("nucleus", "outline", _ellipse(*axes, middle)))
    shapes += _iris(drawing, measures, half, bulge, depth)
    shapes += _stays(drawing, middle)
    return Section(tuple(shapes), -depth, -cornea, middle - thick / 2)


def _cap(half: float, bulge: float, top: float) -> tuple[Point, ...]:
    """A circular arc of half-width and height, its middle at ``top``."""
    radius = (half * half + bulge * bulge) / (2 * bulge)
    sweep = math.asin(min(1.0, half / radius))
    turns = [sweep * i / 24 for i in range(25)]
    right = [(radius * math.sin(t), top - radius * (1 - math.cos(t))) for t in turns]
    return _both([(round(x, 9), round(y, 9)) for x, y in right])


def _ellipse(a: float, b: float, middle: float) -> tuple[Point, ...]:
    turns = [math.pi * i / 48 for i in range(49)]
    right = [(round(a * math.sin(t), 9) + 0.0, round(middle + b * math.cos(t), 9)) for t in turns]
    return (*right, *((-x, y) for x, y in reversed(right[1:-1])))


def _both(right: list[Point]) -> tuple[Point, ...]:
    """A symmetric line from its right half, which starts on the axis."""
    return (*((0.0 - x, y) for x, y in reversed(right[1:])), *right)


def _iris(drawing: Drawing, measures: Measures, half: float, bulge: float, depth: float) -> list[Shape]:
    opening = drawing.opening_circle_mm or drawing.pupil_mm
    if opening is None:
        return []
    root = (half, -(bulge + IRIS_THICKNESS_MM))
    edge = (opening / 2, -depth + IRIS_THICKNESS_MM / 2)
    lines = [Shape("iris", "line", (root, edge)), Shape("iris", "line", tuple((0.0 - x, y) for x, y in (root, edge)))]
    if measures.capsulorhexis_mm is not None:
        lines += [Shape("rim", "dot", ((s * measures.capsulorhexis_mm / 2, -depth),)) for s in (1.0, -1.0)]
    return lines


def _stays(drawing: Drawing, middle: float) -> list[Shape]:
    made = []
    for hour, sign in ((9.0, 1.0), (3.0, -1.0)):
        place = HOURS.index(int(hour))
        share, load = drawing.zonule[place], drawing.load[place]
        lost = any(hour_distance(hour, g) <= 0.5 for g in drawing.gaps)
        count = 0 if lost else round(STAYS * min(1.0, max(0.0, share)))
        near, far = drawing.bag_diameter_mm / 2, drawing.bag_diameter_mm / 2 + STAY_LENGTH_MM
        for k in range(count):
            lift = STAY_SPREAD_MM * ((2 * k + 1) / count - 1) / 2
            ends = ((sign * near, middle + lift / 2), (sign * far, middle + lift + STAY_SPREAD_MM / 3))
            made.append(Shape("stay", "line", ends, weight=load, hour=hour))
        if not count:
            made.append(Shape("gap", "line", ((sign * near, middle), (sign * far, middle)), hour=hour))
    return made


def draw_section(drawing: Drawing, measures: Measures, *, palette: Palette, id_prefix: str = "section") -> str:
    """The picture. ``id_prefix`` keeps two pictures on one page apart."""
    section = section_geometry(drawing, measures)
    height = TOP_PX - PX_PER_MM * section.lowest_mm + 26
    side = side_words(drawing.side)
    heading = tr("in section, 3 to 9 o'clock")
    body = [
        element("rect", x=0, y=0, width=WIDTH, height=height, fill=palette.card, class_="ground"),
        *(_line(s, palette) for s in section.shapes if s.form != "dot"),
        *(_rim(s, palette) for s in section.of("rim")),
        *_room(drawing, section, palette),
        *_words(drawing, section, palette),
        label(side, 8, 24, size=20, fill=palette.ink, font_weight="700", class_="side"),
        label(heading, 8, 45, size=14, fill=palette.soft, class_="viewpoint"),
    ]
    return picture(
        *body,
        width=WIDTH,
        height=height,
        title=tr("{side} {heading}", side=side, heading=heading),
        description=describe_section(drawing),
        name=id_prefix,
        class_="eye-section",
    )


def describe_section(drawing: Drawing) -> str:
    """All that the picture shows, in sentences."""
    said = [tr("3 o'clock is at the left, 9 at the right.")]
    if drawing.chamber_room_mm is not None:
        said.append(tr("Chamber: {room}.", room=room_words(drawing)))
    if drawing.nucleus_diameter_mm is not None and drawing.nucleus_thickness_mm is not None:
        said.append(tr("Nucleus {d:.1f} × {t:.1f} mm.", d=drawing.nucleus_diameter_mm, t=drawing.nucleus_thickness_mm))
    for name, value in (("chamber depth", drawing.chamber_depth_mm), ("lens thickness", drawing.lens_thickness_mm)):
        if value is None:
            said.append(tr("The {name} was not measured and is only indicated.", name=tr(name)))
    said.append(tr("To scale; curve of the cornea, iris and stays are only indicated."))
    return " ".join(said)


def room_words(drawing: Drawing) -> str:
    """``room 2.0 + 0.9 OVD``: the chamber behind the cornea, and what OVD adds [mm]; the plan's room holds both."""
    if drawing.chamber_room_mm is None:
        return tr("room not known")
    without = drawing.chamber_room_mm - drawing.ovd_gain_mm
    return tr("room {room:.1f} + {gain:.1f} OVD", room=without, gain=drawing.ovd_gain_mm)


def _screen(p: Point) -> Point:
    return (WIDTH / 2 + PX_PER_MM * p[0], TOP_PX - PX_PER_MM * p[1])


@lru_cache(KEPT)
def _line(shape: Shape, palette: Palette) -> str:
    d = path([_screen(p) for p in shape.points], closed=shape.form == "outline")
    if shape.kind == "stay":
        colour, thick = stay_stroke(shape.weight)
        return element("path", d=d, fill="none", stroke=getattr(palette, colour), stroke_width=thick, class_="stay")
    fill = {"nucleus": palette.nucleus}.get(shape.kind, "none")
    stroke, width, dash = {
        "cornea-front": (palette.ink, 2.4, None),
        "cornea-back": (palette.ink, 1.2, None),
        "bag": (palette.ink, 1.4, None),
        "nucleus": (palette.nucleus_ink, 1.6, "7 4"),
        "iris": (palette.soft, PX_PER_MM * IRIS_THICKNESS_MM * 0.6, None),
        "gap": (palette.rust, 2.2, "0.1 5"),
    }[shape.kind]
    return element(
        "path",
        d=d,
        fill=fill,
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash,
        stroke_linecap="round" if shape.kind in ("iris", "gap") else None,
        class_=shape.kind,
    )


def _rim(shape: Shape, palette: Palette) -> str:
    x, y = _screen(shape.points[0])
    return element("line", x1=x, y1=y - 7, x2=x, y2=y + 7, stroke=palette.amber, stroke_width=3, class_="rim")


def _room(drawing: Drawing, section: Section, palette: Palette) -> list[str]:
    """The chamber's room as a measured line, and where the lens lies once OVD has pressed it back."""
    if drawing.chamber_room_mm is None:
        return []
    top, bottom = _screen((0.0, section.cornea_back_mm)), _screen((0.0, section.lens_front_mm))
    pressed = bottom[1] + PX_PER_MM * drawing.ovd_gain_mm
    marks = [
        element("line", x1=top[0] - 6, y1=y, x2=top[0] + 6, y2=y, stroke=palette.amber, stroke_width=1.8)
        for y in (top[1], bottom[1])
    ]
    return [
        element("line", x1=top[0], y1=top[1], x2=top[0], y2=bottom[1], stroke=palette.amber, stroke_width=1.8),
        *marks,
        element(
            "line",
            x1=top[0],
            y1=bottom[1],
            x2=top[0],
            y2=pressed,
            stroke=palette.amber,
            stroke_width=1.8,
            stroke_dasharray="3 3",
        ),
        element("line", x1=top[0] - 6, y1=pressed, x2=top[0] + 6, y2=pressed, stroke=palette.amber, stroke_width=1.8),
        label(
            room_words(drawing),
            top[0],
            TOP_PX - 10,
            size=15,
            text_anchor="middle",
            fill=palette.amber,
            font_weight="700",
            class_="room",
        ),
    ]


def _words(drawing: Drawing, section: Section, palette: Palette) -> list[str]:
    middle_y = _screen((0.0, (section.lens_front_mm + section.lowest_mm) / 2))[1]
    out = drawing.bag_diameter_mm / 2 + STAY_LENGTH_MM + 0.5
    temporal = temporal_hour("left" if drawing.side == "left" else "right")
    made = []
    for hour, sign in ((9, 1.0), (3, -1.0)):
        x = _screen((sign * out, 0.0))[0]
        name = tr("temporal") if hour == temporal else tr("nasal")
        made.append(
            label(f"{hour}", x, middle_y + 5, size=15, fill=palette.ink, text_anchor="middle", font_weight="600")
        )
        made.append(label(name, x, middle_y + 24, size=13, fill=palette.soft, text_anchor="middle"))
    for shape in section.of("gap"):
        x, y = _screen(shape.points[1])
        words = tr("gap {hours}", hours=f"{shape.hour:g}")
        made.append(
            label(
                words,
                x,
                y - 12,
                size=15,
                fill=palette.rust,
                text_anchor="middle",
                font_weight="700",
                class_="gap-label",
            )
        )
    if drawing.nucleus_diameter_mm is not None and drawing.nucleus_thickness_mm is not None:
        text = tr("nucleus {d:.1f} × {t:.1f} mm", d=drawing.nucleus_diameter_mm, t=drawing.nucleus_thickness_mm)
        centre = (WIDTH / 2, middle_y + 5 + PX_PER_MM * drawing.ovd_gain_mm / 4)
        made.append(label(text, *centre, size=15, fill=palette.nucleus_ink, text_anchor="middle", font_weight="600"))
    return made
