"""Builds the blocks of the review page from a review."""

from __future__ import annotations

from markupsafe import Markup

from forestay.draw.charts import draw_balance, draw_calibration, draw_funnel, draw_sums
from forestay.draw.charts_rare import draw_gaps, draw_incisions
from forestay.draw.palette import SCREEN
from forestay.report import review_words as say
from forestay.review.make import Review
from forestay.text import tr
from forestay.web.views.review import Block, SignalLine, Table
from forestay.web.views.review_learning import learning_blocks
from forestay.web.views.review_rates import (
    complications_block,
    peers_block,
    published_rows,
    refraction_block,
    within_block,
)

SHOWN_CASES = 12
"""Cases of a signal that are named; the rest are counted."""


def signal_lines(found: Review) -> tuple[SignalLine, ...]:
    """The signals in words."""
    return tuple(
        SignalLine(signal.says, signal.do, signal.false_alarm, signal.cases[:SHOWN_CASES]) for signal in found.signals
    )


def _block(key: str, title: str, says: str, svg: str, table: Table) -> Block:
    return Block(key, title, says, Markup(svg), table)  # noqa: S704 - our own markup, escaped there


def blocks(found: Review) -> tuple[Block, ...]:
    """All subjects that have something to say, in the order of their weight for the next patient."""
    makers = (
        complications_block,
        _sums,
        _balance,
        _funnel,
        peers_block,
        _scored,
        _spacing,
        refraction_block,
        within_block,
        _constants,
        _incisions,
        _acuity,
        _cells,
        _pressures,
        _sizes,
        _supports,
        _steps,
        _mix,
    )
    made = tuple(block for maker in makers for block in [maker(found)] if block is not None)
    return (*made[:-1], *learning_blocks(found), *made[-1:])


def _sums(found: Review) -> Block | None:
    if found.sums is None:
        return None
    sentence = say.sums_sentence(found.sums)
    rows = (
        (tr("limit"), f"{found.sums.limit:.2f}"),
        (tr("sum now, worse"), f"{found.sums.worse[-1]:.2f}"),
        (tr("sum now, better"), f"{found.sums.better[-1]:.2f}"),
        (tr("signals at case"), ", ".join(str(i + 1) for i in found.sums.signals) or tr("none")),
        (tr("cases between false alarms"), f"{found.sums.false_alarm_every:.0f}"),
        (tr("cases until a doubling is found"), f"{found.sums.found_after:.0f}"),
    )
    drawing = draw_sums(found.sums, palette=SCREEN, sentence=sentence)
    return _block(
        "sums", tr("Ruptures against what was told"), sentence, drawing, Table((tr("what"), tr("value")), rows)
    )


def _balance(found: Review) -> Block | None:
    if found.sums is None:
        return None
    says = tr("Expected less seen. A picture beside the sums, not a test: it strays by chance the longer it runs.")
    rows = ((tr("expected less seen, so far"), f"{found.sums.balance[-1]:+.1f}"),)
    return _block(
        "balance", tr("Balance"), says, draw_balance(found.sums, palette=SCREEN), Table((tr("what"), tr("value")), rows)
    )


def _funnel(found: Review) -> Block | None:
    if not found.funnel:
        return None
    outside = [p.surgeon for p in found.funnel if p.outside]
    says = tr(
        "Each circle is a surgeon; between the dashed outer lines chance explains the distance from the mean of all. Outside: "
        "{names}. A point outside asks for a look at the case-mix first.",
        names=", ".join(outside) or tr("nobody"),
    )
    rows = tuple(
        (
            p.surgeon,
            tr("{events} of {n}", events=p.events, n=p.n),
            f"{p.rate:.2%}",
            tr("{low:.2%} to {high:.2%}", low=p.outer[0], high=p.outer[1]),
            tr("few expected: see the interval {low:.1%} to {high:.1%}", low=p.interval[0], high=p.interval[1])
            if p.small
            else "",
        )
        for p in found.funnel
    )
    head = (tr("surgeon"), tr("ruptures"), tr("rate"), tr("outer limits"), tr("remark"))
    more, published = published_rows(found, len(head))
    drawing = draw_funnel(found.funnel, found.funnel_lines, palette=SCREEN, sentence=says, published=published)
    return _block("funnel", tr("Surgeons"), says, drawing, Table(head, rows + more))


def _scored(found: Review) -> Block | None:
    if found.scored is None:
        return None
    s, says = found.scored, say.scored_sentence(found.scored)
    rows = (
        (tr("cases"), str(s.n)),
        (tr("ruptures seen"), str(s.events)),
        (tr("ruptures told"), f"{s.expected:.1f}"),
        (tr("Brier score"), f"{s.brier:.4f}"),
        (tr("shift of the log odds"), "" if s.intercept is None else f"{s.intercept:+.2f}"),
    )
    drawing = draw_calibration(s, palette=SCREEN, sentence=says) if s.predicted_points else ""
    return _block("told", tr("How right the told risks were"), says, drawing, Table((tr("what"), tr("value")), rows))


def _spacing(found: Review) -> Block | None:
    if found.spacing is None:
        return None
    gaps = ", ".join(str(gap) for gap in found.spacing.gaps[-SHOWN_CASES:]) or tr("none yet")
    rows = ((tr("cases before each of the last ruptures"), gaps), (tr("cases since"), str(found.spacing.since_last)))
    says = say.spacing_sentence(found.spacing)
    drawing = draw_gaps(found.spacing, palette=SCREEN, sentence=says)
    return _block("spacing", tr("Between ruptures"), says, drawing, Table((tr("what"), tr("value")), rows))


def _constants(found: Review) -> Block | None:
    if not found.constants:
        return None
    rows = tuple(
        (
            own.lens,
            own.length_method,
            own.formula,
            str(own.n),
            ", ".join(f"{key} {value:.2f}" for key, value in own.constant.items()),
            f"{own.mean_error_d:+.2f} ± {own.half_width_d:.2f} D",
            f"{own.own_weight:.0%}",
            f"{own.planned_shift_d:+.2f} D",
        )
        for own in found.constants
    )
    head = (
        tr("lens"),
        tr("length by"),
        tr("formula"),
        tr("eyes"),
        tr("own constant"),
        tr("mean error"),
        tr("own weight"),
        tr("next plan moves by"),
    )
    says = tr(
        "From uncomplicated eyes in the bag with one lens and one way of measuring. Drawn towards the constant in use."
    )
    return _block("constants", tr("Own lens constants"), says, "", Table(head, rows))


def _incisions(found: Review) -> Block | None:
    if not found.incisions:
        return None
    rows = tuple(
        (
            f"{number}: {own.kind}",
            str(own.n),
            f"{own.flattening_d:.2f} ± {own.along_sd_d:.2f} D",
            f"{own.across_d:+.2f} ± {own.across_sd_d:.2f} D",
            f"{own.mean_magnitude_d:.2f} D",
            "" if own.predicted_d is None else f"{own.predicted_d:.2f} D",
            f"{own.planned_d:.2f} D ({own.own_weight:.0%})",
        )
        for number, own in enumerate(found.incisions, start=1)
    )
    head = (
        tr("incision"),
        tr("eyes"),
        tr("flattening along it"),
        tr("across"),
        tr("mean size whatever the axis"),
        tr("told"),
        tr("plan with (own weight)"),
    )
    says = tr(
        "Each change is turned to its incision, left eyes mirrored, then averaged. The mean size overstates what can be planned for."
    )
    says += " " + tr("Drawn: the outline holds one SD, the square is what the next plan reckons with.")
    drawing = draw_incisions(found.incisions, palette=SCREEN, sentence=says)
    return _block("incisions", tr("Own incisions"), says, drawing, Table(head, rows))


def _acuity(found: Review) -> Block | None:
    if not found.acuity:
        return None
    rows = tuple(
        (
            say.named(a.type),
            str(a.n),
            f"{a.good} ({a.good / a.n:.0%})",
            f"{a.borderline} ({a.borderline / a.n:.0%})",
            f"{a.poor} ({a.poor / a.n:.0%})",
            "" if a.target is None else f"{a.target:.0%}",
        )
        for a in found.acuity
    )
    head = (
        tr("acuity"),
        tr("eyes"),
        tr("6/18 or better"),
        tr("worse, to 6/60"),
        tr("worse than 6/60"),
        tr("good results asked for"),
    )
    says = tr("Last acuity from four weeks on, each type apart. Counting fingers and worse count as worse than 6/60.")
    return _block("acuity", tr("Acuity"), says, "", Table(head, rows))


def _cells(found: Review) -> Block | None:
    if not found.cells:
        return None
    rows = tuple(
        (say.named(c.technique), str(c.n), f"{c.mean_loss:.1%}", "" if c.sd_loss is None else f"{c.sd_loss:.1%}")
        for c in found.cells
    )
    head = (tr("technique"), tr("eyes"), tr("mean loss"), tr("SD"))
    return _block(
        "cells",
        tr("Corneal endothelial cells lost"),
        tr("Loss as a share of the count before surgery, at the last count."),
        "",
        Table(head, rows),
    )


def _pressures(found: Review) -> Block | None:
    if not found.pressures:
        return None
    rows = tuple(
        (
            say.named(p.technique),
            tr("{n} of {all}", n=p.n, all=p.operated),
            f"{p.mean_mmhg:.1f} ± {p.sd_mmhg:.1f} mmHg",
            tr("{n} ({share:.0%}) above {limit:.0f} mmHg", n=p.raised, share=p.raised / p.n, limit=p.treat_above_mmhg),
        )
        for p in found.pressures
    )
    says = tr(
        "At the first visit, on the day of the operation or the day after. An eye that was not measured then counts nowhere; a mean "
        "hides the few that need treatment, so they are counted apart."
    )
    head = (tr("technique"), tr("eyes measured"), tr("mean and SD"), tr("to be treated"))
    return _block("pressures", tr("Pressure on the first day"), says, "", Table(head, rows))


def _sizes(found: Review) -> Block | None:
    if not found.sizes:
        return None
    rows = tuple(
        (say.named(d.name), str(d.n), f"{d.mean:+.2f}", "" if d.sd is None else f"{d.sd:.2f}", str(d.same))
        for d in found.sizes
    )
    head = (tr("size"), tr("cases"), tr("made less planned, mean"), tr("SD"), tr("as planned"))
    return _block(
        "sizes",
        tr("Sizes made against sizes planned"),
        tr("In mm, clock hours or number of hooks."),
        "",
        Table(head, rows),
    )


def _agreement(found: Review, key: str) -> tuple[tuple[str, ...], ...]:
    lines = found.supports if key == "supports" else found.steps
    return tuple((say.named(a.name), str(a.both), str(a.planned_only), str(a.used_only)) for a in lines)


def _supports(found: Review) -> Block | None:
    rows = _agreement(found, "supports")
    head = (tr("support"), tr("planned and used"), tr("planned only"), tr("used only"))
    return (
        _block(
            "supports",
            tr("Support planned and used"),
            tr("Used only: the plan did not see it coming."),
            "",
            Table(head, rows),
        )
        if rows
        else None
    )


def _steps(found: Review) -> Block | None:
    rows = _agreement(found, "steps")
    head = (tr("step"), tr("planned and done"), tr("planned only"), tr("done only"))
    return (
        _block("steps", tr("Steps planned and done"), tr("Planned only may mean not recorded."), "", Table(head, rows))
        if rows
        else None
    )


def _mix(found: Review) -> Block | None:
    if not found.mix:
        return None
    rows = tuple(
        (say.named(name), tr("few") if yes is None else str(yes), str(known))
        for name, (yes, known) in found.mix.items()
    )
    return _block(
        "mix",
        tr("Case-mix"),
        tr(
            "How difficult these eyes are; rates mean little without it. Where a few would stand out, no number is shown."
        ),
        "",
        Table((tr("sign"), tr("present"), tr("of eyes recorded")), rows),
    )
