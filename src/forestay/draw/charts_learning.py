"""Charts of what is learnt: a trainee's sum and turns, and how often told intervals held.

Readable in black and white: shares are told apart by fill and outline, intervals are whiskers, limits are dashed.
"""

from __future__ import annotations

from collections.abc import Sequence

from forestay.draw.charts import (
    BOTTOM,
    HEIGHT,
    LEFT,
    RIGHT,
    SMALL,
    TOP,
    WIDTH,
    frame,
    line,
    percent,
    plain,
    scale,
    ticks,
)
from forestay.draw.palette import Palette
from forestay.draw.svg import element, label, picture
from forestay.learning.predictions import SpanScore
from forestay.review.trainees import Learner
from forestay.text import tr

WHISKER, BAR_SHARE = 5.0, 0.6
"""Half a whisker's end [px], and the share of its place that a bar fills."""


def draw_learner(learner: Learner, *, palette: Palette, sentence: str, name: str) -> str:
    """The sum of one trainee between the line that shows too many ruptures and the line that shows few enough."""
    path = (0.0, *learner.path)
    low, top = min(learner.accept_at * 1.2, *path), max(learner.reject_at * 1.2, *path)
    n = max(len(learner.path), 2)
    x, y = scale(0, n, LEFT, WIDTH - RIGHT), scale(low, top, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=[t for t in ticks(0, n) if t],
        up=ticks(low, top),
        say=plain,
        say_across=lambda v: f"{v:.0f}",
        below=tr("operations begun, in their order"),
    )
    lines = (
        (learner.reject_at, tr("above: more ruptures than {rate:.0%}", rate=learner.unacceptable)),
        (learner.accept_at, tr("below: no more than {rate:.0%}", rate=learner.acceptable)),
    )
    for at, words in lines:
        parts.append(line([(LEFT, y(at)), (WIDTH - RIGHT, y(at))], palette.ink, 1.5, "6 4"))
        parts.append(label(words, LEFT + 4, y(at) - 5, size=SMALL, fill=palette.ink))
    parts.append(line([(x(i), y(v)) for i, v in enumerate(path)], palette.sea, 2))
    title = tr("Ruptures of {name}, {n} operations", name=learner.surgeon, n=learner.n)
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")


def draw_turns(learner: Learner, *, palette: Palette, sentence: str, name: str) -> str:
    """Share of each stretch that was taken over, with its interval; the open circles are steps by own hand."""
    found = learner.stretches
    x, y = scale(0, len(found), LEFT, WIDTH - RIGHT), scale(0, 1, HEIGHT - BOTTOM, TOP)
    every = max(1, -(-len(found) // 8))
    names = {i + 0.5: str(s.first) for i, s in enumerate(found) if i % every == 0}
    parts = frame(
        palette,
        x,
        y,
        across=list(names),
        up=[0, 0.25, 0.5, 0.75, 1],
        say=percent,
        say_across=lambda v: names[v],
        below=tr("first operation of each ten or so; bar: taken over; circle: steps by own hand"),
    )
    for i, s in enumerate(found):
        middle, width = x(i + 0.5), (x(1) - x(0)) * BAR_SHARE
        share = s.taken_over / s.n
        parts.append(
            element(
                "rect",
                x=middle - width / 2,
                y=y(share),
                width=width,
                height=max(0.0, y(0) - y(share)),
                fill=palette.rust,
                stroke=palette.ink,
                stroke_width=1,
            )
        )
        parts += whiskers(middle, y(s.taken_low), y(s.taken_high), palette)
        parts.append(
            element("circle", cx=middle, cy=y(s.own_share), r=5, fill=palette.card, stroke=palette.ink, stroke_width=2)
        )
    title = tr("Operations of {name} that were taken over", name=learner.surgeon)
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")


def whiskers(x: float, low: float, high: float, palette: Palette) -> list[str]:
    """An upright interval with its ends."""
    return [
        line([(x, low), (x, high)], palette.ink, 1.5),
        *(line([(x - WHISKER, end), (x + WHISKER, end)], palette.ink, 1.5) for end in (low, high)),
    ]


def draw_coverage(
    spans: Sequence[SpanScore], words: Sequence[str], *, palette: Palette, sentence: str, name: str
) -> str:
    """How often told intervals held what came, each with its interval; the dashed line is what was told."""
    low = min(0.5, *(span.coverage_low for span in spans))
    x, y = scale(0, len(spans), LEFT, WIDTH - RIGHT), scale(low, 1, HEIGHT - BOTTOM, TOP)
    names = {i + 0.5: said for i, said in enumerate(words)}
    parts = frame(
        palette,
        x,
        y,
        across=list(names),
        up=ticks(low, 1),
        say=percent,
        say_across=lambda v: names[v],
        below=tr("share of told intervals that held what came"),
    )
    told = spans[0].level
    parts.append(line([(LEFT, y(told)), (WIDTH - RIGHT, y(told))], palette.ink, 1.5, "6 4"))
    said = tr("told: {level:.0%}", level=told)
    parts.append(label(said, WIDTH - RIGHT, y(told) + 14, size=SMALL, fill=palette.ink, text_anchor="end"))
    for i, span in enumerate(spans):
        middle = x(i + 0.5)
        parts += whiskers(middle, y(span.coverage_low), y(span.coverage_high), palette)
        fill = palette.card if span.verdict == "as-told" else palette.rust
        parts.append(
            element("circle", cx=middle, cy=y(span.coverage), r=5, fill=fill, stroke=palette.ink, stroke_width=2)
        )
    title = tr("How often told intervals held")
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")
