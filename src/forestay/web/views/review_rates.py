"""Blocks of the review page that lay own figures beside published ones and beside those of peers."""

from __future__ import annotations

from markupsafe import Markup

from forestay.draw.charts import draw_errors, draw_funnel
from forestay.draw.charts_rates import Compared, draw_compared
from forestay.draw.palette import SCREEN
from forestay.report import review_words as say
from forestay.review.make import Review
from forestay.statistics import proportion
from forestay.text import tr
from forestay.web.views.review import Block, Table

LEVEL = 0.95
"""Level of the exact intervals of this page."""
FUNNEL_COLUMNS = 5
"""Columns of the table of surgeons; that of peers has one more before the rate."""
DRAWN = ("rupture", "any-in-surgery", "infection")
"""Complications that something was published for."""


def _block(key: str, title: str, says: str, svg: str, table: Table) -> Block:
    return Block(key, title, says, Markup(svg), table)  # noqa: S704 - our own markup, escaped there


def complications_block(found: Review) -> Block | None:
    """Every complication with its interval; those with a published rate are drawn beside it."""
    if not found.complications:
        return None
    rows, drawn, number = [], [], 0
    short = {"rupture": tr("rupture"), "any-in-surgery": tr("any, in surgery"), "infection": tr("infection")}
    for c in found.complications:
        marks = []
        for _, rate in c.benchmarks:
            number += 1
            marks.append((number, rate))
        compared = "; ".join(
            f"{n}: {rate:.2%} {meaning}" for (n, rate), (meaning, _) in zip(marks, c.benchmarks, strict=True)
        )
        if c.name in DRAWN:
            drawn.append(Compared(short[c.name], c.rate, c.exact[0], c.exact[1], tuple(marks)))
        rows.append(
            (
                say.named(c.name),
                tr("{events} of {n}", events=c.events, n=c.n),
                f"{c.rate:.2%}",
                tr("{low:.2%} to {high:.2%}", low=c.exact[0], high=c.exact[1]),
                "" if c.expected is None else f"{c.expected:.1f}",
                "" if c.own_rate is None or c.own_weight is None else f"{c.own_rate:.2%} ({c.own_weight:.0%})",
                compared,
            )
        )
    head = (
        tr("what happened"),
        tr("cases"),
        tr("rate"),
        tr("exact 95 % interval"),
        tr("expected"),
        tr("rate to plan with (own weight)"),
        tr("published, to compare"),
    )
    says = tr(
        "Counted by the audit's definition first, then part by part; parts overlap and are never added. Published rates "
        "come from practices with few eyes like these."
    )
    drawing = draw_compared(
        drawn,
        palette=SCREEN,
        sentence=says,
        title=tr("Own rates with their intervals, and published rates"),
        name="rates",
        below=tr("circle and whiskers: own rate; dashed and numbered: published"),
    )
    return _block("complications", tr("Complications"), says, drawing, Table(head, tuple(rows)))


def peers_block(found: Review) -> Block | None:
    """Own ruptures among those of peers."""
    peers = found.peers
    if peers is None:
        return None
    own = peers.points[-1]
    place = tr("outside") if own.outside else tr("inside")
    says = tr(
        "Each circle is a unit of the table that was given; {name} is the last line. It lies {place} the outer limits about "
        "{pooled:.2%}, the rate of all together.",
        name=own.surgeon,
        place=place,
        pooled=peers.pooled,
    )
    if peers.tau:
        says += " " + tr(
            "These units differ by more than chance explains (mean squared distance {phi:.1f}), so the limits are widened.",
            phi=peers.phi,
        )
    if peers.adjusted:
        says += " " + tr("Sizes are by expected events, so that case-mix counts.")
    else:
        says += " " + tr("Case-mix is not in it: not every line has its expected events.")
    if peers.withheld:
        says += " " + tr("{n} units have too few operations to be shown.", n=peers.withheld)
    rows = tuple(
        (
            p.surgeon,
            str(p.n),
            str(p.events),
            f"{p.rate:.2%}",
            tr("{low:.2%} to {high:.2%}", low=p.outer[0], high=p.outer[1]),
            tr("outside") if p.outside else "",
        )
        for p in peers.points
    )
    head = (tr("unit"), tr("size"), tr("ruptures"), tr("rate"), tr("outer limits"), tr("remark"))
    more, published = published_rows(found, len(head))
    drawing = draw_funnel(
        peers.points,
        peers.lines,
        palette=SCREEN,
        sentence=says,
        name="peers",
        published=published,
        below=tr("size of a unit: operations"),
    )
    return _block("peers", tr("Among peers"), says, drawing, Table(head, rows + more))


def published_rows(found: Review, width: int) -> tuple[tuple[tuple[str, ...], ...], tuple[float, ...]]:
    """The published rates of rupture as rows of a table of ``width`` columns, each with its number in the drawing; the rates."""
    compared = next((c.benchmarks for c in found.complications if c.name == "rupture"), ())
    rate_at = 3 if width > FUNNEL_COLUMNS else 2
    rows = []
    for n, (meaning, rate) in enumerate(compared, start=1):
        row = [""] * width
        row[0], row[rate_at], row[-1] = tr("published {n}", n=n), f"{rate:.2%}", meaning
        rows.append(tuple(row))
    return tuple(rows), tuple(rate for _, rate in compared)


def refraction_block(found: Review) -> Block | None:
    """Refraction against plan by stratum, with what was published for eyes in the bag."""
    if not any(s.n for s in found.refraction):
        return None
    rows = []
    for s in found.refraction:
        if s.errors is None:
            rows.append((say.named(s.name), str(s.n), tr("too few to show"), "", "", "", ""))
            continue
        e = s.errors
        rows.append(
            (
                say.named(s.name),
                str(s.n),
                f"{e.mean:+.2f} ± {s.half_width_d or 0:.2f} D",
                f"{e.sd or 0:.2f} D",
                f"{e.within[0]:.0%}",
                f"{e.within[1]:.0%}",
                "" if s.coverage is None else f"{s.coverage:.0%}",
            )
        )
    head = (
        tr("eyes"),
        tr("number"),
        tr("mean error"),
        tr("SD"),
        tr("within 0.5 D"),
        tr("within 1 D"),
        tr("told 95 % interval held"),
    )
    says = tr("Achieved less predicted spherical equivalent.")
    compared = "; ".join(f"{share:.1%} {meaning}" for s in found.refraction for meaning, share in s.benchmarks)
    if compared:
        says += " " + tr("Published, to compare with the first row only: {compared}.", compared=compared)
    first = next((s for s in found.refraction if s.bins), None)
    drawing = draw_errors(first, palette=SCREEN, sentence=say.stratum_line(first)) if first else ""
    return _block("refraction", tr("Refraction against plan"), says, drawing, Table(head, tuple(rows)))


def within_block(found: Review) -> Block | None:
    """Shares within half a dioptre and one, beside the published ones: uncomplicated eyes in the bag only."""
    first = next((s for s in found.refraction if s.name == "bag" and s.errors is not None), None)
    if first is None or first.errors is None:
        return None
    words, drawn, rows = (tr("within 0.5 D"), tr("within 1 D")), [], []
    marks: dict[int, list[tuple[int, float]]] = {0: [], 1: []}
    for number, (meaning, share) in enumerate(first.benchmarks, start=1):
        at = 1 if "within 1 D" in meaning else 0
        marks[at].append((number, share))
        rows.append((f"{number}: {meaning}", f"{share:.1%}"))
    for at, share in enumerate(first.errors.within[:2]):
        ends = proportion.exact(events=round(share * first.n), n=first.n, level=LEVEL)
        drawn.append(Compared(words[at], share, float(ends.low), float(ends.high), tuple(marks[at])))
        own = tr("own, {words}: {low:.1%} to {high:.1%}", words=words[at], low=float(ends.low), high=float(ends.high))
        rows.insert(at, (own, f"{share:.1%}"))
    says = tr(
        "{n} uncomplicated eyes in the bag. The published figures leave out, or hardly hold, eyes such as these; lying below "
        "them is no verdict.",
        n=first.n,
    )
    drawing = draw_compared(
        drawn,
        palette=SCREEN,
        sentence=says,
        title=tr("Refraction within half a dioptre and one, and published shares"),
        name="within",
        below=tr("circle and whiskers: own share; dashed and numbered: published"),
    )
    return _block(
        "within",
        tr("Refraction beside published figures"),
        says,
        drawing,
        Table((tr("what"), tr("share")), tuple(rows)),
    )
