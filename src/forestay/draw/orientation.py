"""A picture for the handbook: clock hours, meridians and the surgeon's view, for both eyes and both seats.

It is made with the same functions as the drawings of a plan, so that it cannot say something else than they do.
"""

from __future__ import annotations

from forestay.draw.names import side_words
from forestay.draw.palette import Palette
from forestay.draw.shapes import Point, Shape, at, seat_rotation_deg, turn
from forestay.draw.svg import element, label, picture
from forestay.frame import HOURS, Side, hour_distance, meridian_deg, temporal_hour
from forestay.text import tr

PANEL = 250.0
TOP = 58.0
ROW = 292.0
RADIUS = 84.0
SIDES: tuple[Side, ...] = ("right", "left")
VIEWS: tuple[str, ...] = ("examiner", "superior", "temporal")


def draw_orientation(*, palette: Palette, id_prefix: str = "orientation") -> str:
    """Six small eyes: a row for each side, a column for each view."""
    body = [element("rect", x=0, y=0, width=3 * PANEL, height=TOP + 2 * ROW, fill=palette.card)]
    headings = {
        "examiner": tr("as an examiner faces the patient"),
        "superior": tr("as the surgeon sits, superior"),
        "temporal": tr("as the surgeon sits, temporal"),
    }
    for column, view in enumerate(VIEWS):
        body.append(
            label(
                headings[view],
                PANEL * (column + 0.5),
                28,
                size=15,
                fill=palette.ink,
                text_anchor="middle",
                font_weight="700",
            )
        )
        for row, side in enumerate(SIDES):
            body.append(_panel(side, view, PANEL * (column + 0.5), TOP + ROW * row + 132, palette))
    return picture(
        *body,
        width=3 * PANEL,
        height=TOP + 2 * ROW,
        title=tr("Clock hours, meridians and the surgeon's view"),
        description=tr(
            "Clock hours belong to the eye as an examiner faces the patient: 12 is superior, 3 at the examiner's right "
            "in either eye. Temporal is 9 in a right eye and 3 in a left eye. Meridians run counter-clockwise from the "
            "examiner's right. A superior seat turns the drawing so that 12 is at the bottom; a temporal seat brings "
            "the temporal hour to the bottom. No number changes when the drawing turns."
        ),
        name=id_prefix,
        class_="orientation",
    )


def rotation_of(side: Side, view: str) -> float:
    """How far a view turns the eye's frame, counter-clockwise [degrees]; the examiner's does not."""
    return 0.0 if view == "examiner" else seat_rotation_deg(side, view)


def place(hour: float, radius: float, side: Side, view: str) -> Point:
    """Where a clock hour lies in a view, y up."""
    return turn(Shape("place", "dot", (at(hour, radius),)), rotation_of(side, view)).points[0]


def _panel(side: Side, view: str, x0: float, y0: float, palette: Palette) -> str:
    def put(hour: float, radius: float) -> Point:
        x, y = place(hour, radius, side, view)
        return (x0 + x, y0 - y)

    parts = [
        element("circle", cx=x0, cy=y0, r=RADIUS, fill=palette.sclera, stroke=palette.ink, stroke_width=1.6),
        element("circle", cx=x0, cy=y0, r=RADIUS * 0.3, fill="none", stroke=palette.soft, stroke_width=1.2),
    ]
    for hour in (3.0, 1.5, 12.0, 10.5):
        (ax, ay), (bx, by) = put(hour, RADIUS), put(hour + 6, RADIUS)
        parts.append(
            element("line", x1=ax, y1=ay, x2=bx, y2=by, stroke=palette.soft, stroke_width=1, stroke_dasharray="3 3")
        )
        text, where = f"{meridian_deg(hour):g}°", put(hour, RADIUS * 0.84)
        parts.append(_text(text, where, size=13, fill=palette.sea, halo=palette.sclera, weight="600"))
    temporal = temporal_hour(side)
    for hour in HOURS:
        weight = "700" if hour_distance(hour, temporal) == 0 or hour == 12 else "400"
        where = put(hour, RADIUS + 15)
        parts.append(_text(f"{hour}", where, size=14, fill=palette.ink, halo=palette.card, weight=weight))
    for hour, name in ((temporal, tr("temporal")), ((temporal + 6) % 12, tr("nasal"))):
        parts.append(_text(name, put(hour, RADIUS * 0.36), size=12, fill=palette.ink, halo=palette.sclera))
    heading = (x0, y0 - RADIUS - 36)
    parts.append(_text(side_words(side), heading, size=15, fill=palette.ink, halo=palette.card, weight="700"))
    if view != "examiner":
        parts.append(
            element(
                "path",
                d=f"M{x0 - 26:g} {y0 + RADIUS + 46:g}A26 18 0 0 1 {x0 + 26:g} {y0 + RADIUS + 46:g}Z",
                fill=palette.amber,
            )
        )
        below = (x0, y0 + RADIUS + 58)
        parts.append(_text(tr("surgeon"), below, size=13, fill=palette.amber, halo=palette.card, weight="600"))
    return element("g", *parts, class_=f"view {side} {view}")


def _text(text: str, place: Point, *, size: float, fill: str, halo: str, weight: str = "400") -> str:
    return label(
        text,
        place[0],
        place[1] + size * 0.35,
        size=size,
        fill=fill,
        text_anchor="middle",
        font_weight=weight,
        stroke=halo,
        stroke_width=3,
        paint_order="stroke",
    )
