"""A margin as a rope: taut to the right where there is room, a zigzag to the left where it is short.

The mark at "just enough" stands at the same place in every rope, so that a column reads at a glance. All absolute
ropes of one unit share a scale (:func:`rope_scales`); what does not fit ends in a double stroke at the border.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache

from forestay.draw.chance import chance_words
from forestay.draw.palette import Palette
from forestay.draw.shapes import KEPT
from forestay.draw.svg import element, identifier, path, picture
from forestay.plan.model import Margin
from forestay.text import tr

WIDTH, HEIGHT = 300.0, 34.0
MARK_X, MIDDLE_Y = 150.0, 17.0
REACH_PX = 132.0
"""From the mark to the end of the scale, on either side."""
BORDER_PX = 142.0
TEETH_PX = 7.0
RING_PX = 5.5
NICE = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)


def rope_scales(margins: Iterable[Margin]) -> dict[tuple[str, str], float]:
    """One scale for each kind of rope (unit, scale): a round number that holds every margin and most whiskers.

    The scale is the margin, in its own unit, that reaches the end of a rope. Where whiskers are far longer than the
    margins themselves they may be clipped; the clip is drawn.
    """
    held: dict[tuple[str, str], float] = {}
    for m in margins:
        reach = abs(m.margin)
        if m.scale == "absolute":
            reach = max(reach, min(max(abs(m.low), abs(m.high)), 2 * reach))
        key = (m.unit, m.scale)
        held[key] = max(held.get(key, 0.0), reach)
    return {key: _round_up(reach) for key, reach in held.items()}


def _round_up(value: float) -> float:
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next((n * power for n in (*NICE, 10.0) if n * power >= value * (1 - 1e-12)), 10.0 * power)


def draw_rope(margin: Margin, *, palette: Palette, scale_mm: float, id_prefix: str = "rope") -> str:
    """The rope of one margin. ``scale_mm``: the margin, in its own unit, that reaches the end of the rope."""
    whiskers = (margin.low, margin.high) if margin.scale == "absolute" else None
    return picture(
        _drawn(margin.margin, whiskers, scale_mm, palette),
        width=WIDTH,
        height=HEIGHT,
        title=tr("{step}: {state}", step=margin.step, state=state_words(margin)),
        description=rope_sentence(margin),
        name=identifier(id_prefix, margin.key),
        class_="rope",
    )


@lru_cache(KEPT)
def _drawn(margin: float, whiskers: tuple[float, float] | None, scale_mm: float, palette: Palette) -> str:
    """The lines of a rope: of most margins they stay as they are while a control moves."""
    here = _place(margin, scale_mm)
    parts = [
        element("line", x1=MARK_X, y1=4, x2=MARK_X, y2=HEIGHT - 4, stroke=palette.ink, stroke_width=2, class_="mark"),
    ]
    if whiskers is not None:
        parts.append(_whiskers(margin, whiskers, scale_mm, palette))
    parts.append(_taut(here, palette) if margin >= 0 else _short(here, palette))
    if abs(margin) > scale_mm * (1 + 1e-9):
        parts.append(_clip(math.copysign(BORDER_PX, margin), palette.ink, 2.0))
    return "".join(parts)


def state_words(margin: Margin) -> str:
    """``room 0.4 mm`` or ``short 0.4 mm``; a comparative margin has no size to print, it only ranks."""
    size = amount_words(abs(margin.margin), margin.unit)
    if margin.margin == 0:
        return tr("just enough")
    if margin.scale == "comparative":
        return tr("room, by rank") if margin.margin > 0 else tr("short, by rank")
    return tr("room {size}", size=size) if margin.margin > 0 else tr("short {size}", size=size)


def digits_of(value: float, unit: str) -> int:
    """Decimals that a size is given in: two for dioptres, none for hundreds and more, else one."""
    return 0 if abs(value) >= 100 else 2 if unit == "D" else 1


def amount_words(value: float, unit: str) -> str:
    """A size with its unit, in the digits that the unit is used to.

    >>> amount_words(0.4321, "mm"), amount_words(1530.2, "cells/mm²"), amount_words(-0.5, "D")
    ('0.4 mm', '1530 cells/mm²', '−0.50 D')
    """
    digits = digits_of(value, unit)
    rounded = round(value, digits) + 0.0
    return f"{rounded:.{digits}f} {unit}".replace("-", "−", 1).strip()


def interval_words(margin: Margin) -> str:
    """The interval of an absolute margin in words, empty for a comparative one."""
    if margin.scale == "comparative":
        return ""
    low = amount_words(margin.low, margin.unit).removesuffix(margin.unit).strip()
    return tr("{low} to {high}", low=low, high=amount_words(margin.high, margin.unit))


def rope_sentence(margin: Margin) -> str:
    """Everything that the rope shows, in one or two sentences."""
    said = margin.says[:1].upper() + margin.says[1:]
    if margin.scale == "comparative":
        return tr("{says}. It ranks the options in this eye and predicts nothing.", says=said.rstrip("."))
    told = tr(
        "{says}: {state} ({interval}).",
        says=said.rstrip("."),
        state=state_words(margin),
        interval=interval_words(margin),
    )
    if margin.probability is None:
        return told
    return told + " " + tr("Chance that it is enough: {chance}.", chance=chance_words(margin.probability))


def _place(value: float, scale: float) -> float:
    """Offset from the mark [px], held inside the rope."""
    return max(-REACH_PX, min(REACH_PX, REACH_PX * value / scale))


def _taut(reach: float, palette: Palette) -> str:
    end = MARK_X + max(reach, 0.0)
    line = element(
        "line", x1=MARK_X, y1=MIDDLE_Y, x2=end, y2=MIDDLE_Y, stroke=palette.sea, stroke_width=4.5, class_="taut"
    )
    return line + _ring(end, palette.sea, palette.card)


def _short(reach: float, palette: Palette) -> str:
    length = -reach
    teeth = max(2, 2 * round(length / TEETH_PX / 2))
    points = [
        (MARK_X - length * i / teeth, MIDDLE_Y + (0.0 if i in (0, teeth) else 5.0 if i % 2 else -5.0))
        for i in range(teeth + 1)
    ]
    line = element(
        "path",
        d=path(points),
        fill="none",
        stroke=palette.rust,
        stroke_width=2.4,
        stroke_linejoin="round",
        class_="slack",
    )
    return line + _ring(MARK_X - length, palette.rust, palette.card)


def _ring(x: float, colour: str, ground: str) -> str:
    return element("circle", cx=x, cy=MIDDLE_Y, r=RING_PX, fill=ground, stroke=colour, stroke_width=2.6, class_="ring")


def _whiskers(margin: float, ends: tuple[float, float], scale: float, palette: Palette) -> str:
    low, high = (MARK_X + _place(v, scale) for v in ends)
    drawn = [element("line", x1=low, y1=MIDDLE_Y, x2=high, y2=MIDDLE_Y, stroke=palette.soft, stroke_width=1.2)]
    for value, x in zip(ends, (low, high), strict=True):
        if abs(value) > scale * (1 + 1e-9):
            if abs(margin) <= scale or value * margin < 0:
                drawn.append(_clip(math.copysign(BORDER_PX, value), palette.soft, 1.2))
        else:
            drawn.append(
                element("line", x1=x, y1=MIDDLE_Y - 6, x2=x, y2=MIDDLE_Y + 6, stroke=palette.soft, stroke_width=1.2)
            )
    return element("g", *drawn, class_="whiskers")


def _clip(offset: float, colour: str, width: float) -> str:
    """Two slanted strokes: the rope goes on beyond the picture."""
    x = MARK_X + offset
    strokes = [
        element("line", x1=x + d - 2, y1=MIDDLE_Y + 6, x2=x + d + 2, y2=MIDDLE_Y - 6, stroke=colour, stroke_width=width)
        for d in (-2.5, 2.5)
    ]
    return element("g", *strokes, class_="clipped")
