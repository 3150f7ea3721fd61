"""Charts of rare events and of incisions: cases between ruptures, and what each kind of incision did to the cornea.

Readable in black and white: limits are dashed, what still runs is an open square, spread is an outline.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log10

from forestay.draw.charts import BOTTOM, HEIGHT, LEFT, RIGHT, SMALL, TOP, WIDTH, frame, line, plain, scale, ticks
from forestay.draw.palette import Palette
from forestay.draw.svg import element, label, picture
from forestay.review.complications import Spacing
from forestay.review.incision import OwnIncision
from forestay.text import tr

SHOWN_GAPS = 40
"""Gaps that are drawn: the last ones."""
DECADES = (0, 1, 3, 10, 30, 100, 300, 1000, 3000)
SQUARE, DOT = 10.0, 4.0
ROOM_D = 0.25
"""Room around the outermost spread."""
NARROWEST = 2


def draw_gaps(spacing: Spacing, *, palette: Palette, sentence: str, name: str = "spacing") -> str:
    """Cases before each rupture, upwards in powers of ten, between the gaps that chance seldom passes at the published rate."""
    gaps = spacing.gaps[-SHOWN_GAPS:]
    first = len(spacing.gaps) - len(gaps) + 1
    top = max(spacing.high, *gaps, spacing.since_last) * 1.5
    x = scale(first - 0.5, first + max(len(gaps), NARROWEST) + 0.5, LEFT, WIDTH - RIGHT)
    y_log = scale(0, log10(1 + top), HEIGHT - BOTTOM, TOP)

    def y(cases: float) -> float:
        return y_log(log10(1 + cases))

    parts = frame(
        palette,
        x,
        y,
        across=[at for at in ticks(first, first + max(len(gaps), NARROWEST)) if at == round(at)],
        up=[decade for decade in DECADES if decade <= top],
        say=lambda v: f"{v:.0f}",
        say_across=lambda v: f"{v:.0f}",
        below=tr("ruptures in their order; upwards: cases before each; square: since the last"),
    )
    lines = (
        (spacing.median, tr("half of the gaps are shorter"), "2 3"),
        (spacing.high, tr("longer by chance: one in 740"), "6 4"),
    )
    for at, words, dash in lines:
        parts.append(line([(LEFT, y(at)), (WIDTH - RIGHT, y(at))], palette.ink, 1.5, dash))
        parts.append(label(words, LEFT + 4, y(at) - 5, size=SMALL, fill=palette.ink))
    parts.append(line([(x(first + i), y(gap)) for i, gap in enumerate(gaps)], palette.sea, 1.5))
    parts += [
        element("circle", cx=x(first + i), cy=y(gap), r=DOT, fill=palette.sea, stroke=palette.ink, stroke_width=1)
        for i, gap in enumerate(gaps)
    ]
    parts.append(_square(x(first + len(gaps)), y(spacing.since_last), palette))
    title = tr("Cases between ruptures")
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")


def draw_incisions(
    own: Sequence[OwnIncision], *, palette: Palette, sentence: str, name: str = "incisions-drawn"
) -> str:
    """Each kind by its centroid, an outline of one SD along and across, and a square at what the next plan reckons with."""
    low = min(0.0, *(min(one.flattening_d - one.along_sd_d, one.planned_d) for one in own)) - ROOM_D
    high = max(0.0, *(max(one.flattening_d + one.along_sd_d, one.planned_d) for one in own)) + ROOM_D
    wide = max(abs(one.across_d) + one.across_sd_d for one in own) + ROOM_D
    x, y = scale(low, high, LEFT, WIDTH - RIGHT), scale(-wide, wide, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=ticks(low, high),
        up=ticks(-wide, wide),
        say=plain,
        say_across=plain,
        below=tr("flattening along the incision, D; upwards: across it, D"),
    )
    parts.append(line([(x(0), TOP), (x(0), HEIGHT - BOTTOM)], palette.ink, 1))
    for i, one in enumerate(own):
        middle = x(one.flattening_d), y(one.across_d)
        parts.append(
            element(
                "ellipse",
                cx=middle[0],
                cy=middle[1],
                rx=abs(x(one.along_sd_d) - x(0)),
                ry=abs(y(one.across_sd_d) - y(0)),
                fill="none",
                stroke=palette.sea,
                stroke_width=1.5,
                stroke_dasharray=None if i == 0 else f"{2 + 3 * i} 3",
            )
        )
        parts.append(element("circle", cx=middle[0], cy=middle[1], r=DOT, fill=palette.ink))
        parts.append(_square(x(one.planned_d), y(0), palette))
        parts.append(label(str(i + 1), middle[0] + 7, middle[1] - 6, size=SMALL, fill=palette.ink))
    title = tr("What own incisions did to the cornea")
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")


def _square(at: float, height: float, palette: Palette) -> str:
    return element(
        "rect",
        x=at - SQUARE / 2,
        y=height - SQUARE / 2,
        width=SQUARE,
        height=SQUARE,
        fill="none",
        stroke=palette.ink,
        stroke_width=2,
    )
