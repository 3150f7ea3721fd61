"""Charts of a review: sums, funnel, errors, calibration. Own lines on paper, readable in black and white.

Each is a picture with a title and a sentence; the table twin stands on the page. Meaning never rests on colour alone:
limits are dashed, signals are squares with the number of the case, points outside are filled.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from forestay.draw.palette import Palette
from forestay.draw.svg import element, label, number, path, picture
from forestay.learning.predictions import ChanceScore
from forestay.review.complications import Limits, Point, Sums
from forestay.review.refraction import Stratum
from forestay.text import tr

WIDTH, HEIGHT = 520.0, 220.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 14.0, 14.0, 34.0
SMALL = 12.0
Place = Callable[[float], float]
FEWEST_TICKS = 3


def scale(low: float, high: float, start: float, end: float) -> Place:
    """Where a value between ``low`` and ``high`` stands between two places of the picture."""
    span = (high - low) or 1.0
    return lambda value: start + (value - low) / span * (end - start)


def ticks(low: float, high: float) -> list[float]:
    """Round numbers between ``low`` and ``high``, three to six of them.

    >>> ticks(0, 0.043)
    [0.0, 0.02, 0.04]
    """
    span = high - low
    power = 10.0 ** (len(f"{span:.0f}") - 1) if span >= 1 else 10.0 ** -len(f"{1 / span:.0f}")
    for step in (power * m for m in (5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02)):
        first = -(-low // step) * step
        found = [first + i * step for i in range(int((high - first) / step + 1e-9) + 1)]
        if len(found) >= FEWEST_TICKS:
            return [round(value, 10) for value in found]
    return [low, high]


def frame(
    palette: Palette,
    x: Place,
    y: Place,
    *,
    across: Sequence[float],
    up: Sequence[float],
    say: Callable[[float], str],
    say_across: Callable[[float], str],
    below: str,
) -> list[str]:
    """Lines and words of both axes, and what the lower one is."""
    parts = []
    for value in up:
        parts.append(
            element("line", x1=LEFT, y1=y(value), x2=WIDTH - RIGHT, y2=y(value), stroke=palette.line, stroke_width=1)
        )
        parts.append(label(say(value), LEFT - 6, y(value) + 4, size=SMALL, fill=palette.ink, text_anchor="end"))
    parts += [
        label(say_across(value), x(value), HEIGHT - BOTTOM + 15, size=SMALL, fill=palette.ink, text_anchor="middle")
        for value in across
    ]
    parts.append(
        label(below, (LEFT + WIDTH - RIGHT) / 2, HEIGHT - 4, size=SMALL, fill=palette.soft, text_anchor="middle")
    )
    return parts


def line(points: Sequence[tuple[float, float]], stroke: str, width: float, dash: str | None = None) -> str:
    """A line through points."""
    return element(
        "path",
        d=path(points),
        stroke=stroke,
        stroke_width=width,
        fill="none",
        stroke_dasharray=dash,
        stroke_linejoin="round",
    )


def plain(value: float) -> str:
    """A number with two decimals at most and a true minus."""
    return number(value, 2).replace("-", "−")


def percent(value: float) -> str:
    """A share in per cent."""
    return f"{number(100 * value, 1)} %"


def draw_sums(sums: Sums, *, palette: Palette, sentence: str, name: str = "sums") -> str:
    """Both sums over the cases: worse upwards, better downwards, limits dashed, signals as numbered squares."""
    n = len(sums.worse)
    top = max(sums.limit * 1.15, *sums.worse)
    low = -max(sums.limit * 1.15, *sums.better)
    x, y = scale(0, max(n, 2), LEFT, WIDTH - RIGHT), scale(low, top, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=[t for t in ticks(0, max(n, 2)) if t],
        up=ticks(low, top),
        say=plain,
        say_across=lambda v: f"{v:.0f}",
        below=tr("operations in their order"),
    )
    for limit in (sums.limit, -sums.limit):
        parts.append(line([(LEFT, y(limit)), (WIDTH - RIGHT, y(limit))], palette.ink, 1.5, "6 4"))
    parts.append(
        label(tr("worse: limit"), WIDTH - RIGHT, y(sums.limit) - 5, size=SMALL, fill=palette.ink, text_anchor="end")
    )
    parts.append(
        label(tr("better: limit"), WIDTH - RIGHT, y(-sums.limit) + 14, size=SMALL, fill=palette.ink, text_anchor="end")
    )
    parts.append(line([(x(0), y(0)), *((x(i + 1), y(v)) for i, v in enumerate(sums.worse))], palette.rust, 2))
    parts.append(line([(x(0), y(0)), *((x(i + 1), y(-v)) for i, v in enumerate(sums.better))], palette.sea, 2, "2 2"))
    for case in sums.signals:
        at = (x(case + 1), y(sums.worse[case]))
        parts.append(
            element("rect", x=at[0] - 5, y=at[1] - 5, width=10, height=10, fill=palette.rust, stroke=palette.card)
        )
        parts.append(label(str(case + 1), at[0] - 8, at[1] + 4, size=SMALL, fill=palette.ink, text_anchor="end"))
    title = tr("Sums of ruptures against what was told, {n} operations", n=n)
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")


def draw_balance(sums: Sums, *, palette: Palette, name: str = "balance") -> str:
    """Expected less observed ruptures so far."""
    values = [0.0, *sums.balance]
    low, top = min(*values, -1.0), max(*values, 1.0)
    x, y = scale(0, max(len(values) - 1, 2), LEFT, WIDTH - RIGHT), scale(low, top, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=[t for t in ticks(0, max(len(values) - 1, 2)) if t],
        up=ticks(low, top),
        say=plain,
        say_across=lambda v: f"{v:.0f}",
        below=tr("operations in their order"),
    )
    parts.append(line([(LEFT, y(0)), (WIDTH - RIGHT, y(0))], palette.ink, 1.5))
    parts.append(line([(x(i), y(v)) for i, v in enumerate(values)], palette.sea, 2))
    says = tr(
        "Ruptures expected less ruptures seen, so far: {value:+.1f}. It strays further the longer it runs, by chance alone; "
        "look for a signal in the sums, not here.",
        value=values[-1],
    )
    return picture(
        *parts, width=WIDTH, height=HEIGHT, title=tr("Balance of ruptures"), description=says, name=name, class_="chart"
    )


def draw_funnel(
    points: Sequence[Point],
    lines: Sequence[Limits],
    *,
    palette: Palette,
    sentence: str,
    name: str = "funnel",
    published: Sequence[float] = (),
    below: str = "",
) -> str:
    """Surgeons by number of operations and rate, between limits; filled where outside the outer ones.

    ``published``: rates of audits elsewhere, numbered lines across.
    """
    highest = [limit.outer[1] for limit in lines if limit.n >= min(p.n for p in points)]
    top = max(*highest, *(p.rate for p in points), *published) * 1.1
    first, last = lines[0].n, lines[-1].n
    x, y = scale(first, last, LEFT, WIDTH - RIGHT), scale(0, top, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=ticks(first, last),
        up=ticks(0, top),
        say=percent,
        say_across=lambda v: f"{v:.0f}",
        below=below or tr("operations of a surgeon"),
    )
    for number_, rate in enumerate(published, start=1):
        parts.append(line([(LEFT, y(rate)), (WIDTH - RIGHT, y(rate))], palette.soft, 1.5, "10 3 2 3"))
        parts.append(label(str(number_), LEFT + 4, y(rate) - 4, size=SMALL, fill=palette.ink))
    for end in (0, 1):
        parts.append(line([(x(at.n), max(TOP, y(at.inner[end]))) for at in lines], palette.soft, 1.5, "2 3"))
        parts.append(line([(x(at.n), max(TOP, y(at.outer[end]))) for at in lines], palette.ink, 1.5, "6 4"))
    for point in points:
        fill = palette.rust if point.outside else palette.card
        parts.append(
            element("circle", cx=x(point.n), cy=y(point.rate), r=6, fill=fill, stroke=palette.ink, stroke_width=2)
        )
        parts.append(label(point.surgeon, x(point.n) + 9, y(point.rate) + 4, size=SMALL, fill=palette.ink))
    title = tr("Rupture rate by surgeon, between funnel limits")
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")


def draw_errors(stratum: Stratum, *, palette: Palette, sentence: str, name: str = "errors") -> str:
    """Eyes by refraction error, in bars of a quarter dioptre; the outermost hold all beyond."""
    most = max(count for _, count in stratum.bins) or 1
    low, high = stratum.bins[0][0] - 0.125, stratum.bins[-1][0] + 0.125
    x, y = scale(low, high, LEFT, WIDTH - RIGHT), scale(0, most * 1.1, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=[-2, -1, -0.5, 0, 0.5, 1, 2],
        up=ticks(0, most * 1.1),
        say=lambda v: f"{v:.0f}",
        say_across=plain,
        below=tr("achieved less predicted, D"),
    )
    width = x(0.25) - x(0) - 3
    for middle, count in stratum.bins:
        inside = abs(middle) <= 0.5
        parts.append(
            element(
                "rect",
                x=x(middle) - width / 2,
                y=y(count),
                width=width,
                height=max(0.0, y(0) - y(count)),
                fill=palette.sea if inside else palette.card,
                stroke=palette.sea,
                stroke_width=1.5,
            )
        )
    parts.append(line([(x(0), TOP), (x(0), HEIGHT - BOTTOM)], palette.ink, 1.5, "6 4"))
    title = tr("Refraction errors of {n} eyes", n=stratum.n)
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")


def draw_calibration(scored: ChanceScore, *, palette: Palette, sentence: str, name: str = "calibration") -> str:
    """Told against observed probability, in groups; the diagonal is perfect agreement."""
    top = max(*scored.predicted_points, *scored.observed_points) * 1.1
    x, y = scale(0, top, LEFT, WIDTH - RIGHT), scale(0, top, HEIGHT - BOTTOM, TOP)
    parts = frame(
        palette,
        x,
        y,
        across=ticks(0, top),
        up=ticks(0, top),
        say=percent,
        say_across=percent,
        below=tr("told before surgery"),
    )
    parts.append(line([(x(0), y(0)), (x(top), y(top))], palette.ink, 1.5, "6 4"))
    dots = list(zip(scored.predicted_points, scored.observed_points, strict=True))
    parts.append(line([(x(p), y(o)) for p, o in dots], palette.sea, 2))
    parts += [
        element("circle", cx=x(p), cy=y(o), r=4, fill=palette.card, stroke=palette.sea, stroke_width=2) for p, o in dots
    ]
    title = tr("Told and observed probability of rupture")
    return picture(*parts, width=WIDTH, height=HEIGHT, title=title, description=sentence, name=name, class_="chart")
