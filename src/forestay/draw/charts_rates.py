"""Own shares with their intervals, beside lines of what was published: rates of complications, refraction within limits.

A published figure is a dashed stroke across its place with a number that the table explains.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from forestay.draw.charts import BOTTOM, HEIGHT, LEFT, RIGHT, SMALL, TOP, WIDTH, frame, line, percent, scale, ticks
from forestay.draw.charts_learning import whiskers
from forestay.draw.palette import Palette
from forestay.draw.svg import element, label, picture

STROKE_SHARE = 0.42
"""Half of its place that the stroke of a published figure spans."""


@dataclass(frozen=True)
class Compared:
    """One own share and what was published for it."""

    words: str
    share: float
    low: float
    high: float
    published: tuple[tuple[int, float], ...]
    """Number in the table, and share."""


def draw_compared(
    rows: Sequence[Compared], *, palette: Palette, sentence: str, title: str, name: str, below: str
) -> str:
    """Each share with its interval over its name, and numbered dashed strokes of what was published."""
    top = min(1.0, 1.1 * max(max(row.high, *(share for _, share in row.published), 0.0) for row in rows))
    x, y = scale(0, len(rows), LEFT, WIDTH - RIGHT), scale(0, top, HEIGHT - BOTTOM, TOP)
    names = {i + 0.5: row.words for i, row in enumerate(rows)}
    parts = frame(
        palette,
        x,
        y,
        across=list(names),
        up=ticks(0, top),
        say=percent,
        say_across=lambda at: names[at],
        below=below,
    )
    for i, row in enumerate(rows):
        middle = x(i + 0.5)
        for number, share in row.published:
            ends = [(x(i + 0.5 - STROKE_SHARE), y(share)), (x(i + 0.5 + STROKE_SHARE), y(share))]
            parts.append(line(ends, palette.ink, 1.5, "6 4"))
            parts.append(label(str(number), ends[1][0] - 10, y(share) - 4, size=SMALL, fill=palette.ink))
        parts += whiskers(middle, y(row.low), y(row.high), palette)
        parts.append(
            element("circle", cx=middle, cy=y(row.share), r=5, fill=palette.card, stroke=palette.ink, stroke_width=2)
        )
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")
