"""An operated case gone through again: what was known at each turn, a question, and only then what was told and done.

The questions come from the facts alone: before the operation, at each event in it, and before the first visit. What the
plan had said is the kept plan's; where none was kept, the plan is reckoned again from what was known then, and that is said.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from forestay.case.bodies import Decided, Done, Found, Happened, Measured, Planned, Seen
from forestay.case.fact import Fact
from forestay.case.fold import Entry, entries, fold
from forestay.case.words import say
from forestay.errors import MissingInput, NotFound
from forestay.evidence import Reader
from forestay.eye.situation import Situation
from forestay.learning.predictions import Span
from forestay.plan.model import as_dict
from forestay.plan.theatre import FindingRule, finding_rules
from forestay.review import told
from forestay.review.outcome import CHECKS, Outcome, outcome_of
from forestay.text import tr

Planning = Callable[[Situation], Any]
"""Makes the plan of a situation."""
SHOWN_RISKS = 3
"""Risks of this eye and technique that are told before surgery."""


@dataclass(frozen=True)
class Question:
    """One turn of the case."""

    number: int
    when: str
    known: tuple[str, ...]
    """What became known since the turn before."""
    asks: str
    told: tuple[str, ...]
    """What the plan said for this turn."""
    done: tuple[str, ...]
    """What was decided and done, with reasons, and what came next."""
    reckoned: bool
    """True where no plan was kept and it was reckoned again from what was known then."""


@dataclass(frozen=True)
class Again:
    """A case with its questions, and how it ended."""

    case_id: str
    side: str
    invented: bool
    questions: tuple[Question, ...]
    ending: tuple[str, ...]
    """Each prediction beside what came."""


def again(case_id: str, facts: Iterable[Fact], planning: Planning, use: Reader) -> Again:
    """The case with its questions; one without an operation is an error that says so."""
    facts = list(facts)
    outcome = outcome_of(case_id, facts)
    if outcome is None:
        raise NotFound(
            tr(
                "No step of an operation is recorded in case {case}; there is nothing to go through again.",
                case=case_id,
            ),
            field="case",
            value=case_id,
            allowed=tr("a case with an operation"),
        )
    standing = sorted((e for e in entries(facts) if e.stands and not _is_check(e)), key=lambda e: (e.place, e.index))
    first = next(i for i, e in enumerate(standing) if isinstance(e.body, Done))
    visits = [e for e in standing if isinstance(e.body, Seen)]
    within = [e for e in standing[first:] if not isinstance(e.body, Seen | Planned)]
    plan, reckoned = _plan(facts, standing[first], planning)
    questions = [_before(standing[:first], within, plan, reckoned)]
    questions += _events(within, plan, reckoned, len(questions))
    if visits:
        questions.append(_afterwards(visits, outcome, plan, reckoned, len(questions) + 1))
    return Again(case_id, outcome.side, outcome.invented, tuple(questions), _ending(outcome, use))


def _is_check(entry: Entry) -> bool:
    return isinstance(entry.body, Done) and entry.body.step.startswith(CHECKS)


def _plan(facts: Sequence[Fact], first: Entry, planning: Planning) -> tuple[Mapping[str, Any], bool]:
    """The last plan kept before the first step, else one reckoned from what was known then."""
    known = [e for e in entries(facts) if e.index < first.index]
    kept = [e.body for e in known if e.stands and isinstance(e.body, Planned)]
    if kept:
        found: Mapping[str, Any] = json.loads(kept[-1].plan_bytes)
        return found, False
    try:
        return as_dict(planning(fold([e.fact for e in known]))), True
    except MissingInput:
        return {}, True


def _before(known: Sequence[Entry], within: Sequence[Entry], plan: Mapping[str, Any], reckoned: bool) -> Question:
    done = [_decision(e.body) for e in known if isinstance(e.body, Decided)]
    until = next((i for i, e in enumerate(within) if isinstance(e.body, Happened | Found)), len(within))
    return Question(
        number=1,
        when=tr("before surgery"),
        known=tuple(say(e.body) for e in known if isinstance(e.body, Measured | Found)),
        asks=tr(
            "Would you operate here and today? By which technique, where does the tunnel lie, what do you have ready for the "
            "zonule and the pupil, and what do you fear most?"
        ),
        told=_plan_lines(plan),
        done=(*done, *(say(e.body) for e in within[:until] if isinstance(e.body, Done | Decided))),
        reckoned=reckoned,
    )


def _decision(body: Decided) -> str:
    return tr("Decided: {what}", what=say(body))


def _plan_lines(plan: Mapping[str, Any]) -> tuple[str, ...]:
    if not plan:
        return ()
    lines = [str((plan.get("decision") or {}).get("sentence") or (plan.get("decision") or {}).get("why", ""))]
    chosen = (plan.get("chosen") or {}).get("technique")
    option: Mapping[str, Any] = next((o for o in plan.get("options", ()) if o["technique"] == chosen), {})
    risks = [r for r in option.get("risks", ()) if r.get("of_this_eye", True)][:SHOWN_RISKS]
    lines += [
        tr(
            "{label}: {p:.1%} ({low:.1%} to {high:.1%})",
            label=r.get("label", r["name"]),
            p=r["probability"],
            low=r.get("low", r["probability"]),
            high=r.get("high", r["probability"]),
        )
        for r in risks
    ]
    lines += [f"{m['step']}: {m['says']}" for m in plan.get("margins", ()) if m.get("group") == "main"]
    lines += [tr("Never {what}: {why}", what=stop["must_not"], why=stop["why"]) for stop in plan.get("stops", ())]
    return tuple(line for line in lines if line)


def _events(within: Sequence[Entry], plan: Mapping[str, Any], reckoned: bool, number: int) -> list[Question]:
    """A question at each event, or run of events without a step between them."""
    found: list[Question] = []
    at, since = 0, 0
    while at < len(within):
        if not isinstance(within[at].body, Happened | Found):
            at += 1
            continue
        end = at
        while end < len(within) and isinstance(within[end].body, Happened | Found):
            end += 1
        then = next((i for i in range(end, len(within)) if isinstance(within[i].body, Happened | Found)), len(within))
        events = [e.body for e in within[at:end]]
        step = next((e.step for e in events if isinstance(e, Happened) and e.step), None)
        found.append(
            Question(
                number=number + len(found) + 1,
                when=tr("at {step}", step=step) if step else tr("during surgery"),
                known=tuple(say(e.body) for e in within[since:end] if not isinstance(e.body, Decided)),
                asks=tr("What does it mean, what must not be done now, and what do you do next?"),
                told=tuple(line for e in events for line in _answer(e, plan)),
                done=_what_followed(within[end:then]),
                reckoned=reckoned,
            )
        )
        at, since = then, end
    return found


def _what_followed(part: Sequence[Entry]) -> tuple[str, ...]:
    said = tuple(_decision(e.body) if isinstance(e.body, Decided) else say(e.body) for e in part)
    return said or (tr("Nothing further is recorded."),)


def _answer(event: Any, plan: Mapping[str, Any]) -> tuple[str, ...]:
    """What the plan had ready: its ladder for the event."""
    rules = [rule for rule in finding_rules() if _speaks_of(rule, event)]
    ladders = dict.fromkeys(rule.ladder for rule in rules if rule.ladder)
    lines: list[str] = []
    for ladder in (f for f in plan.get("fallbacks", ()) if f.get("key") in ladders):
        lines += [f"{ladder['event']}:", *(f"{i}. {said}" for i, said in enumerate(ladder["do"], 1))]
    values = set(event.values) if isinstance(event, Found) else set()
    lines += [
        tr(
            "{label}: healthy clock hours of the zonule from {before:.1f} to {after:.1f}",
            label=change["label"],
            before=change["hours_before"],
            after=change["hours_after"],
        )
        for change in plan.get("finding_changes", ())
        if values & set(change["facts"])
    ]
    return tuple(lines)


def _speaks_of(rule: FindingRule, event: Any) -> bool:
    if isinstance(event, Happened):
        return bool(rule.event == event.event and (rule.event != "other" or rule.say == event.note))
    return isinstance(event, Found) and any(event.values.get(path) == value for path, value in rule.sets.items())


def _afterwards(
    visits: Sequence[Entry], outcome: Outcome, plan: Mapping[str, Any], reckoned: bool, number: int
) -> Question:
    lines = []
    if outcome.predicted_refraction_d is not None and outcome.refraction_half_d is not None:
        low = outcome.predicted_refraction_d - outcome.refraction_half_d
        lines.append(
            tr(
                "refraction {value:+.2f} D ({low:+.2f} to {high:+.2f} D)",
                value=outcome.predicted_refraction_d,
                low=low,
                high=outcome.predicted_refraction_d + outcome.refraction_half_d,
            )
        )
    if outcome.cells_told is not None:
        mean, few, many = outcome.cells_told
        lines.append(tr("{mean:.0f} cells/mm2 left ({few:.0f} to {many:.0f})", mean=mean, few=few, many=many))
    lines += [str(w) for w in (plan.get("after") or {}).get("warnings", ())]
    return Question(
        number=number,
        when=tr("after surgery"),
        known=(tr("The operation is over."),),
        asks=tr(
            "What do you expect to find at the visits: acuity, refraction, pressure, cornea? Whom do you see sooner?"
        ),
        told=tuple(lines),
        done=tuple(say(e.body) for e in visits),
        reckoned=reckoned,
    )


def _ending(outcome: Outcome, use: Reader) -> tuple[str, ...]:
    """Each prediction of this eye beside what came; one eye proves none of them right or wrong."""
    names = told.names()
    lines = [
        tr("{what}: told {p:.1%}, {came}", what=names[chance.about], p=chance.said, came=_came(chance.came))
        for chance in told.chances(outcome, use)
        if chance.of_this_eye or chance.came
    ]
    return (*lines, *(_span_line(span, names[span.about]) for span in told.spans(outcome, use)))


def _span_line(span: Span, what: str) -> str:
    def written(value: float) -> str:
        return f"{value:+.2f}" if span.unit == "D" else f"{value:.0f}"

    if span.came is None:
        return tr("{what}: not known yet", what=what)
    held = tr("within what was told") if span.low <= span.came <= span.high else tr("outside what was told")
    return tr(
        "{what}: told {expected} ({low} to {high}), came {came} {unit}: {held}",
        what=what,
        expected=written(span.expected),
        low=written(span.low),
        high=written(span.high),
        came=written(span.came),
        unit=span.unit,
        held=held,
    )


def _came(came: bool | None) -> str:
    if came is None:
        return tr("not known yet")
    return tr("it came") if came else tr("it did not come")
