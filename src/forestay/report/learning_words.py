"""What was learnt, in words: scores of predictions, and how a trainee comes along."""

from __future__ import annotations

from forestay.learning.predictions import ChanceScore, SpanScore
from forestay.report.review_words import named
from forestay.review.told import ToldScores, names
from forestay.review.trainees import Learner
from forestay.text import tr


def told_name(about: str) -> str:
    """The name of a kind of prediction."""
    return names().get(about, named(about))


def chance_line(score: ChanceScore) -> str:
    """One told probability against what came."""
    line = tr(
        "{name}: {events} seen, {expected:.1f} told in {n} eyes, Brier score {brier:.4f}",
        name=told_name(score.about),
        events=score.events,
        expected=score.expected,
        n=score.n,
        brier=score.brier,
    )
    if score.ratio is not None and score.ratio_low is not None and score.ratio_high is not None:
        line += tr(
            "; ratio {ratio:.2f} ({low:.2f} to {high:.2f})",
            ratio=score.ratio,
            low=score.ratio_low,
            high=score.ratio_high,
        )
    if not score.of_this_eye:
        line += tr("; the published rate of the technique, not this eye's own")
    return line + waiting(score.waiting)


def waiting(count: int) -> str:
    """How many predictions still wait for their truth."""
    return tr("; {count} still wait for their truth", count=count) if count else ""


def span_line(score: SpanScore) -> str:
    """One told interval against what came."""
    return tr(
        "{name}: the told {level:.0%} interval held in {inside} of {n} eyes ({share:.0%}; {low:.0%} to {high:.0%}): {verdict}",
        name=told_name(score.about),
        level=score.level,
        inside=score.inside,
        n=score.n,
        share=score.coverage,
        low=score.coverage_low,
        high=score.coverage_high,
        verdict=verdict(score),
    ) + waiting(score.waiting)


def verdict(score: SpanScore) -> str:
    """Whether the told intervals were as wide as they should be."""
    return {
        "as-told": tr("as told, as far as these eyes can show"),
        "too-narrow": tr("too seldom: too narrow, or in the wrong place"),
        "too-wide": tr("more often than told: wider than need be"),
    }[score.verdict]


def told_sentence(told: ToldScores) -> str:
    """What the scores mean, and what they do not."""
    said = tr(
        "Each prediction was kept before the first step and is scored once its truth is known. The Brier score is the mean "
        "squared distance of the told probability from what came, less is better; for rare events it is small whatever was "
        "told, so look at the ratio first. Margins without a counted truth are not scored."
    )
    if told.too_few:
        names = ", ".join(told_name(about) for about in told.too_few)
        said += " " + tr("Too few known to show: {names}.", names=names)
    return said


def learner_sentence(one: Learner) -> str:
    """What a trainee's sum says, and what it does not."""
    state = tr("The test has not decided yet.")
    if one.accepted_after is not None:
        state = tr("A rate of {rate:.0%} or less was shown after {n} cases.", rate=one.acceptable, n=one.accepted_after)
    if one.rejected_after is not None and one.rejected_after < (one.accepted_after or one.rejected_after + 1):
        state = tr(
            "A rate of {rate:.0%} or more was shown after {n} cases.", rate=one.unacceptable, n=one.rejected_after
        )
    return (
        state
        + " "
        + tr(
            "The sum rises with each rupture and falls with each clean case; {good:.0%} and {bad:.0%} are told apart with an "
            "error in {error:.0%} of series either way. An operation counts for whoever began it, whoever ended it. It says "
            "nothing of the difficulty of the cases: compare with what was told.",
            good=one.acceptable,
            bad=one.unacceptable,
            error=one.error,
        )
    )


def turns_sentence(one: Learner) -> str:
    """Who did the steps, and what that does not say."""
    said = tr(
        "Taken over: somebody else did a step that the plan had left to the trainee. A take-over in time is a success of "
        "supervision, not a failure; a falling share with harder cases says more than the share itself."
    )
    if one.taken_at:
        steps = ", ".join(f"{named(step)} {count}" for step, count in one.taken_at)
        said += " " + tr("Taken over at: {steps}.", steps=steps)
    return said


def learner_line(one: Learner) -> str:
    """A trainee in one line."""
    line = tr("{name}: {events} ruptures in {n} operations begun. ", name=one.surgeon, events=one.events, n=one.n)
    if one.stretches:
        first, last = one.stretches[0], one.stretches[-1]
        line += tr(
            "Taken over: {a} of the first {an}, {b} of the last {bn}. ",
            a=first.taken_over,
            an=first.n,
            b=last.taken_over,
            bn=last.n,
        )
    return line + learner_sentence(one).split(". ", maxsplit=1)[0] + "."
