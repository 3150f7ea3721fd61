"""The eye from above as the surgeon sits, as SVG.

The root carries what a page needs to read a pointer: ``data-scale`` (px per mm), ``data-centre-x``/``-y`` (px),
``data-rotation`` (degrees counter-clockwise) and ``data-side``. A pointer at (x, y) lies at the examiner's angle
``atan2(centre_y − y, x − centre_x) − rotation`` and at clock hour ``(90 − angle) / 30``.
"""

from __future__ import annotations

from functools import lru_cache

from forestay.draw.above_geometry import Scene, gap_words, geometry
from forestay.draw.above_legend import legend
from forestay.draw.gap_arc import gap_runs
from forestay.draw.handles import Screen, handles_of
from forestay.draw.names import hour_words, seat_words, side_words, viewpoint_words
from forestay.draw.palette import Palette
from forestay.draw.shapes import KEPT, Point, Shape
from forestay.draw.strokes import STROKES, stay_stroke
from forestay.draw.svg import element, label, number, path, picture
from forestay.frame import Side
from forestay.plan.model import Drawing, Measures
from forestay.text import tr

WIDTH = 560.0
CENTRE: Point = (280.0, 300.0)
TOP_OF_LEGEND = 590.0
ABOVE_KEY_PX = 14.0
PX_PER_MM = 27.0
ROOM_PX = 268.0


def draw_above(
    drawing: Drawing,
    measures: Measures,
    *,
    handles: bool,
    palette: Palette,
    id_prefix: str = "above",
    with_key: bool = True,
) -> str:
    """The picture. ``handles`` adds what can be moved; ``id_prefix`` keeps two pictures on one page apart; without
    ``with_key`` the page sets the key itself."""
    scene = geometry(drawing, measures)
    screen = Screen(min(PX_PER_MM, ROOM_PX / scene.reach_mm), CENTRE)
    rows, height = "", TOP_OF_LEGEND - ABOVE_KEY_PX
    if with_key:
        rows, height = legend(drawing, measures, palette=palette, top=TOP_OF_LEGEND, width=WIDTH)
    side, viewpoint = side_words(scene.side), viewpoint_words(scene.seat)
    body = [
        element("rect", x=0, y=0, width=WIDTH, height=height, fill=palette.card, class_="ground"),
        _eye(scene, screen, palette),
        label(side, 8, 24, size=22, fill=palette.ink, font_weight="700", class_="side"),
        label(viewpoint, 8, 46, size=15, fill=palette.soft, class_="viewpoint"),
        rows,
    ]
    if handles:
        body.append(element("g", *handles_of(scene, screen, drawing, measures, palette), class_="handles"))
    return picture(
        *body,
        width=WIDTH,
        height=height,
        title=tr("{side} from above, {viewpoint}", side=side, viewpoint=viewpoint),
        description=describe_above(drawing, measures),
        name=id_prefix,
        interactive=handles,
        class_="eye-above",
        data_scale=number(screen.scale, 4),
        data_centre_x=CENTRE[0],
        data_centre_y=CENTRE[1],
        data_rotation=scene.rotation_deg,
        data_side=scene.side,
    )


def describe_above(drawing: Drawing, measures: Measures) -> str:
    """All that the picture shows, in sentences."""
    side: Side = "left" if drawing.side == "left" else "right"
    said = [seat_words(side, drawing.seat), tr("Bag {mm:.1f} mm.", mm=drawing.bag_diameter_mm)]
    if drawing.nucleus_diameter_mm is not None:
        said.append(tr("Nucleus {mm:.1f} mm.", mm=drawing.nucleus_diameter_mm))
    if measures.capsulorhexis_mm is not None:
        said.append(tr("Capsulorhexis {mm:.1f} mm.", mm=measures.capsulorhexis_mm))
    if drawing.opening_circle_mm is not None:
        said.append(tr("Pupil opening {mm:.1f} mm on {n} hooks.", mm=drawing.opening_circle_mm, n=measures.pupil_hooks))
    said.append(
        tr(
            "Tunnel {shape}, {chord:.1f} mm, centred at {hour}.",
            shape=measures.tunnel_shape,
            chord=measures.tunnel_outer_mm,
            hour=hour_words(measures.tunnel_clock),
        )
    )
    lost = ", ".join(gap_words(run) for run in gap_runs(drawing.gaps))
    said.append(tr("Zonule: {lost}.", lost=lost) if lost else tr("Zonule: no gap."))
    said.append(tr("To scale; the length of the stays and the depth of the inner lip are only indicated."))
    return " ".join(said)


def _eye(scene: Scene, screen: Screen, palette: Palette) -> str:
    layers = [_shape(s, screen, palette) for kind in _ORDER for s in scene.of(kind)]
    return element("g", *layers, class_="eye")


_ORDER = (
    "sclera", "iris", "limbus", "gap", "stay", "bag", "nucleus", "ring", "eyelet", "capsulorhexis",
    "opening", "capsule-hook", "hook", "port", "hook-corner", "tunnel-side", "inner-lip", "outer-lip",
    "clock", "gap-label",
)  # fmt: skip


@lru_cache(KEPT)
def _shape(shape: Shape, screen: Screen, palette: Palette) -> str:
    points = screen.points(shape)
    x, y = points[0]
    if shape.form == "label":
        return _text(shape, x, y, palette)
    if shape.form == "dot":
        return _dot(shape, x, y, palette)
    style = _style(shape, palette)
    if shape.form == "circle":
        return element("circle", cx=x, cy=y, r=screen.scale * shape.radius_mm, class_=shape.kind, **style)
    return element("path", d=path(points, closed=shape.form == "outline"), class_=shape.kind, **style)


def _text(shape: Shape, x: float, y: float, palette: Palette) -> str:
    if shape.kind == "clock":
        return label(
            shape.text, x, y + 6, size=17, fill=palette.ink, text_anchor="middle", font_weight="600", class_="clock"
        )
    return label(
        shape.text,
        x,
        y + 6,
        size=17,
        fill=palette.rust,
        text_anchor="middle",
        font_weight="700",
        stroke=palette.sclera,
        stroke_width=4,
        paint_order="stroke",
        class_="gap-label",
    )


def _dot(shape: Shape, x: float, y: float, palette: Palette) -> str:
    if shape.kind == "eyelet":
        return element(
            "circle", cx=x, cy=y, r=4, fill=palette.card, stroke=palette.sea, stroke_width=2, class_="eyelet"
        )
    if shape.kind == "port":
        diamond = path([(x, y - 5), (x + 5, y), (x, y + 5), (x - 5, y)], closed=True)
        return element("path", d=diamond, fill=palette.ink, class_="port")
    if shape.kind == "hook-corner":
        return element("circle", cx=x, cy=y, r=3.5, fill=palette.ink, class_="hook-corner")
    return ""


def _style(shape: Shape, palette: Palette) -> dict[str, str | float | None]:
    if shape.kind == "stay":
        colour, thick = stay_stroke(shape.weight)
        return {"stroke": getattr(palette, colour), "stroke_width": thick, "fill": "none"}
    filled = {"sclera": palette.sclera, "iris": palette.iris, "nucleus": palette.nucleus}
    stroke, width, dash = STROKES[shape.kind]
    return {
        "fill": filled.get(shape.kind, "none"),
        "fill_opacity": 0.75 if shape.kind == "nucleus" else None,
        "stroke": getattr(palette, stroke),
        "stroke_width": width,
        "stroke_dasharray": dash,
        "stroke_linecap": "round" if shape.kind in ("ring", "hook", "gap") else None,
    }
