"""The key below the eye from above: each line as it is drawn, with its name and size."""

from __future__ import annotations

from forestay.draw.names import hour_words, hours_words
from forestay.draw.palette import Palette
from forestay.draw.strokes import HEAVY_LOAD, STROKES, stay_stroke
from forestay.draw.svg import element, label
from forestay.frame import HOURS
from forestay.plan.model import Drawing, Measures
from forestay.plan.said import ring_words
from forestay.text import tr

ROW_PX = 24.0
SAMPLE_PX = 34.0
SAMPLE_HEIGHT_PX = 8.0
Entry = tuple[str, str]


def legend(drawing: Drawing, measures: Measures, *, palette: Palette, top: float, width: float) -> tuple[str, float]:
    """The key as markup, and the height at which it ends [px]. Two columns, read downwards."""
    rows = entries(drawing, measures)
    per_column = (len(rows) + 1) // 2
    made = []
    for i, (kind, text) in enumerate(rows):
        x = 8 + (i // per_column) * width * 0.5
        y = top + (i % per_column) * ROW_PX
        words = label(text, x + SAMPLE_PX + 8, y, size=15, fill=palette.ink)
        made.append(_sample(kind, x, y - 5, palette) + words)
    return element("g", *made, class_="key"), top + (per_column - 1) * ROW_PX + 14


def key_samples(drawing: Drawing, measures: Measures, *, palette: Palette) -> list[Entry]:
    """The key for a page that sets it as text: each line as a small picture of its own, with its words."""
    return [(_picture(kind, palette), text) for kind, text in entries(drawing, measures)]


def _picture(kind: str, palette: Palette) -> str:
    line = _sample(kind, 0, SAMPLE_HEIGHT_PX / 2, palette)
    return element("svg", line, width=SAMPLE_PX, height=SAMPLE_HEIGHT_PX, aria_hidden="true", class_="sample")


def _sample(kind: str, x: float, y: float, palette: Palette) -> str:
    colour, weight, dash = STROKES[kind] if kind in STROKES else (*stay_stroke(_SAMPLE_LOAD[kind]), None)
    return element(
        "line",
        x1=x,
        y1=y,
        x2=x + SAMPLE_PX,
        y2=y,
        stroke=getattr(palette, colour),
        stroke_width=weight,
        stroke_dasharray=dash,
    )


_SAMPLE_LOAD = {"stay": 1.0, "heavy-stay": 2 * HEAVY_LOAD}


def entries(drawing: Drawing, measures: Measures) -> list[Entry]:
    """What the key says: kind of line and words, only for what is drawn."""
    rows: list[Entry] = []
    if measures.capsulorhexis_mm is not None:
        rows.append(("capsulorhexis", tr("capsulorhexis {mm:.1f} mm", mm=measures.capsulorhexis_mm)))
    if drawing.opening_circle_mm is not None:
        opening, hooks = drawing.opening_circle_mm, measures.pupil_hooks
        text = tr("pupil opening {mm:.1f} mm on {n} hooks", mm=opening, n=hooks) if hooks else ""
        rows.append(("opening", text or tr("pupil opening {mm:.1f} mm, no hooks", mm=opening)))
    elif drawing.pupil_mm is not None:
        rows.append(("opening", tr("pupil {mm:.1f} mm", mm=drawing.pupil_mm)))
    if drawing.nucleus_diameter_mm is not None:
        thick = drawing.nucleus_thickness_mm
        size = f"{drawing.nucleus_diameter_mm:.1f}" + (f" × {thick:.1f}" if thick is not None else "")
        rows.append(("nucleus", tr("nucleus {size} mm", size=size)))
    rows.append(("bag", tr("bag {mm:.1f} mm", mm=drawing.bag_diameter_mm)))
    if measures.ring != "none":
        rows.append(("ring", ring_words(measures.ring)))
    if measures.capsule_hook_clocks:
        rows.append(("capsule-hook", tr("capsule hooks at {hours}", hours=hours_words(measures.capsule_hook_clocks))))
    shape = {"straight": tr("straight"), "frown": tr("frown"), "chevron": tr("chevron")}
    rows.append(
        (
            "outer-lip",
            tr(
                "tunnel {hour}, {shape} {mm:.1f} mm",
                hour=hour_words(measures.tunnel_clock),
                shape=shape.get(measures.tunnel_shape, measures.tunnel_shape),
                mm=measures.tunnel_outer_mm,
            ),
        )
    )
    rows.append(("inner-lip", tr("inner lip {mm:.1f} mm", mm=measures.tunnel_inner_mm)))
    peak = max(drawing.load)
    if peak >= HEAVY_LOAD:
        hour = HOURS[drawing.load.index(peak)]
        rows.append(("heavy-stay", tr("stays: peak {times:.1f} × healthy, at {hour}", times=peak, hour=hour)))
    else:
        rows.append(("stay", tr("stays: thicker bears more")))
    return rows
