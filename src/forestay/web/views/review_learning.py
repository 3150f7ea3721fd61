"""Blocks of the review page that are about learning: told against come, and trainees."""

from __future__ import annotations

from markupsafe import Markup

from forestay.draw.charts_learning import draw_coverage, draw_learner, draw_turns
from forestay.draw.palette import SCREEN
from forestay.report import learning_words as say
from forestay.report.review_words import named
from forestay.review.make import Review
from forestay.review.trainees import Learner
from forestay.text import tr
from forestay.web.views.review import Block, Table


def _block(key: str, title: str, says: str, svg: str, table: Table) -> Block:
    return Block(key, title, says, Markup(svg), table)  # noqa: S704 - our own markup, escaped there


def learning_blocks(found: Review) -> tuple[Block, ...]:
    """Told against come, then each trainee."""
    return (*_told(found), *(block for number, one in enumerate(found.learners, 1) for block in _learner(one, number)))


def _told(found: Review) -> tuple[Block, ...]:
    told = found.told
    if not told.chances and not told.spans:
        return ()
    rows = tuple(
        (
            say.told_name(s.about) + ("" if s.of_this_eye else " (" + tr("published rate") + ")"),
            str(s.n),
            str(s.waiting),
            str(s.events),
            f"{s.expected:.1f}",
            ""
            if s.ratio is None or s.ratio_low is None or s.ratio_high is None
            else tr("{ratio:.2f} ({low:.2f} to {high:.2f})", ratio=s.ratio, low=s.ratio_low, high=s.ratio_high),
            f"{s.brier:.4f}",
            "" if s.scaled_brier is None else f"{s.scaled_brier:+.1%}",
        )
        for s in told.chances
    )
    head = (
        tr("told probability of"),
        tr("known"),
        tr("waiting"),
        tr("seen"),
        tr("told"),
        tr("seen over told, exact 95 % interval"),
        tr("Brier score"),
        tr("better than telling the mean"),
    )
    blocks = (
        [_block("chances", tr("Told probabilities"), say.told_sentence(told), "", Table(head, rows))] if rows else []
    )
    if told.spans:
        blocks.append(_spans(found))
    return tuple(blocks)


def _spans(found: Review) -> Block:
    spans = found.told.spans
    rows = tuple(
        (
            say.told_name(s.about),
            str(s.n),
            str(s.waiting),
            tr("{inside} of {n}, {share:.0%}", inside=s.inside, n=s.n, share=s.coverage),
            tr("{low:.0%} to {high:.0%}", low=s.coverage_low, high=s.coverage_high),
            tr("{below} below, {above} above", below=s.below, above=s.above),
            f"{s.mean_error:+.2f} {s.unit}",
            say.verdict(s),
        )
        for s in spans
    )
    head = (
        tr("told interval of"),
        tr("known"),
        tr("waiting"),
        tr("held"),
        tr("exact 95 % interval"),
        tr("fell outside"),
        tr("came less told, mean"),
        tr("verdict"),
    )
    says = tr(
        "Of intervals told at {level:.0%}, {level:.0%} should hold what came. Held less often, they are too narrow and the plan "
        "was too sure; a mean far from 0 says that they lie in the wrong place.",
        level=spans[0].level,
    )
    drawing = draw_coverage(
        spans, [say.told_name(s.about) for s in spans], palette=SCREEN, sentence=says, name="coverage"
    )
    return _block("intervals", tr("Told intervals"), says, drawing, Table(head, rows))


def _learner(one: Learner, number: int) -> tuple[Block, ...]:
    key = f"trainee-{number}"
    says = say.learner_sentence(one)
    rows = (
        (tr("operations begun"), str(one.n)),
        (tr("ruptures"), str(one.events)),
        (tr("sum now"), f"{one.path[-1]:+.2f}"),
        (tr("few enough shown at"), f"{one.accept_at:+.2f}"),
        (tr("too many shown at"), f"{one.reject_at:+.2f}"),
    )
    drawing = draw_learner(one, palette=SCREEN, sentence=says, name=key)
    title = tr("Trainee {name} ({grade}): ruptures", name=one.surgeon, grade=named(one.grade))
    blocks = [_block(key, title, says, drawing, Table((tr("what"), tr("value")), rows))]
    if one.stretches:
        blocks.append(_turns(one, key + "-turns"))
    return tuple(blocks)


def _turns(one: Learner, key: str) -> Block:
    rows = tuple(
        (
            f"{s.first}–{s.first + s.n - 1}",
            str(s.alone),
            str(s.as_agreed),
            str(s.taken_over),
            tr("{low:.0%} to {high:.0%}", low=s.taken_low, high=s.taken_high),
            f"{s.own_share:.0%}",
            str(s.failed),
            "" if s.expected is None else f"{s.expected:.1f}",
        )
        for s in one.stretches
    )
    head = (
        tr("operations"),
        tr("alone"),
        tr("as agreed"),
        tr("taken over"),
        tr("share taken over, exact 95 % interval"),
        tr("steps by own hand"),
        tr("ruptures"),
        tr("ruptures told"),
    )
    says = say.turns_sentence(one)
    drawing = draw_turns(one, palette=SCREEN, sentence=says, name=key)
    return _block(key, tr("Trainee {name}: who did the steps", name=one.surgeon), says, drawing, Table(head, rows))
