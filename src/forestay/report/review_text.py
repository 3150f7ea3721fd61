"""A whole review as plain text."""

from __future__ import annotations

from forestay.report.learning_words import chance_line, learner_line, span_line
from forestay.report.review_words import (
    constant_line,
    count_line,
    named,
    scored_sentence,
    spacing_sentence,
    stratum_line,
    sums_sentence,
)
from forestay.review.make import Review
from forestay.review.peers import PeerFunnel
from forestay.text import tr


def readable(found: Review) -> str:
    """The whole review as plain text."""
    lines = [*found.says]
    if found.withheld:
        lines.append(found.withheld)
    for signal in found.signals:
        lines += ["", tr("Stop: {says}", says=signal.says), f"  {signal.do}", f"  ({signal.false_alarm})"]
    blocks = [
        (tr("Complications"), [count_line(count) for count in found.complications]),
        (tr("Refraction against plan"), [stratum_line(s) for s in found.refraction if s.n]),
        (tr("Own lens constants"), [constant_line(own) for own in found.constants]),
        (
            tr("Own incisions"),
            [
                tr(
                    "{kind}: flattening {own:.2f} ± {sd:.2f} D in {n} eyes; plan with {planned:.2f} D (own weight {weight:.0%})",
                    kind=own.kind,
                    own=own.flattening_d,
                    sd=own.along_sd_d,
                    n=own.n,
                    planned=own.planned_d,
                    weight=own.own_weight,
                )
                for own in found.incisions
            ],
        ),
        (
            tr("Acuity"),
            [
                tr(
                    "{type}: 6/18 or better {good} of {n}, worse than 6/60 {poor}",
                    type=named(a.type),
                    good=a.good,
                    n=a.n,
                    poor=a.poor,
                )
                for a in found.acuity
            ],
        ),
        (
            tr("Corneal endothelial cells lost"),
            [
                tr(
                    "{technique}: {loss:.1%} on average in {n} eyes",
                    technique=named(c.technique),
                    loss=c.mean_loss,
                    n=c.n,
                )
                for c in found.cells
            ],
        ),
        (
            tr("Pressure on the first day"),
            [
                tr(
                    "{technique}: {mean:.1f} ± {sd:.1f} mmHg in {n} of {all} eyes; {raised} above {limit:.0f} mmHg",
                    technique=named(p.technique),
                    mean=p.mean_mmhg,
                    sd=p.sd_mmhg,
                    n=p.n,
                    all=p.operated,
                    raised=p.raised,
                    limit=p.treat_above_mmhg,
                )
                for p in found.pressures
            ],
        ),
        (tr("Sums"), [sums_sentence(found.sums)] if found.sums else []),
        (tr("Told risks"), [scored_sentence(found.scored)] if found.scored else []),
        (
            tr("Told against come"),
            [*(chance_line(score) for score in found.told.chances), *(span_line(score) for score in found.told.spans)],
        ),
        (tr("Among peers"), [peers_line(found.peers)] if found.peers else []),
        (tr("Trainees"), [learner_line(one) for one in found.learners]),
        (tr("Between ruptures"), [spacing_sentence(found.spacing)] if found.spacing else []),
    ]
    for title, said in blocks:
        if said:
            lines += ["", title, *(f"  {line}" for line in said)]
    return "\n".join(lines)


def peers_line(peers: PeerFunnel) -> str:
    """Own ruptures among those of peers, in one line."""
    own = peers.points[-1]
    line = tr(
        "{events} of {n} ({rate:.2%}); outer limits {low:.2%} to {high:.2%} about {pooled:.2%}: {place}",
        events=own.events,
        n=own.n,
        rate=own.rate,
        low=own.outer[0],
        high=own.outer[1],
        pooled=peers.pooled,
        place=tr("outside") if own.outside else tr("inside"),
    )
    return line + (tr("; limits widened, as the units differ by more than chance") if peers.tau else "")
