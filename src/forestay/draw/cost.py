"""Cost against size on two logarithmic scales: what took how long, from measured figures."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from forestay.draw.charts import BOTTOM, HEIGHT, LEFT, RIGHT, SMALL, TOP, WIDTH, frame, line, scale
from forestay.draw.palette import Palette
from forestay.draw.svg import element, label, picture
from forestay.text import tr

DASHES = (None, "6 4", "2 3")
"""Lines are told apart by their dashes, and named at their ends."""


def decade(exponent: float) -> str:
    """A power of ten as people write it.

    >>> decade(6), decade(0), decade(-1)
    ('1 million', '1', '0.1')
    """
    words = {6: tr("1 million"), 7: tr("10 million"), 8: tr("100 million")}
    whole = round(exponent)
    return words.get(whole, f"{10**whole:,}" if whole >= 0 else f"{10.0**whole:g}")


def draw_cost(runs: Mapping[str, Sequence[tuple[float, float]]], *, palette: Palette, sentence: str) -> str:
    """Series of (size, seconds), each from its smallest size on; both axes in powers of ten."""
    points = {name: [(math.log10(n), math.log10(s)) for n, s in sorted(series)] for name, series in runs.items()}
    every = [point for series in points.values() for point in series]
    first, last = math.floor(min(p[0] for p in every)), math.ceil(max(p[0] for p in every))
    low, high = math.floor(min(p[1] for p in every)), math.ceil(max(p[1] for p in every))
    x, y = scale(first, last, LEFT, WIDTH - RIGHT - 40), scale(low, high, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=range(first, last + 1),
        up=range(low, high + 1),
        say=decade,
        say_across=decade,
        below=tr("rows across; seconds up"),
    )
    for (name, series), dash in zip(points.items(), DASHES, strict=False):
        parts.append(line([(x(n), y(s)) for n, s in series], palette.ink, 2, dash))
        parts += [
            element("circle", cx=x(n), cy=y(s), r=4, fill=palette.card, stroke=palette.ink, stroke_width=2)
            for n, s in series
        ]
        end = series[-1]
        parts.append(label(name, x(end[0]) + 8, y(end[1]) + 4, size=SMALL, fill=palette.ink))
    title = tr("Seconds against rows, both in powers of ten")
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name="cost", class_="chart")
