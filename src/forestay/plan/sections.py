"""The parts of a plan that rules write: stops, steps with cues, fallbacks, follow-up, consent. Kit, doses: trolley."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from forestay.answer import Doubt
from forestay.evidence import Reader
from forestay.eye.situation import Situation
from forestay.plan.events import steps_now
from forestay.plan.model import After, Conflict, Cue, Fallback, Rung, Step, Stop, Visit
from forestay.plan.now import Now
from forestay.plan.ruleset import Rule, holding, sentences
from forestay.plan.take_over import Turn, shared_out
from forestay.text import tr

View = Mapping[str, Any]


def stops(view: View, use: Reader) -> tuple[Stop, ...]:
    """What must not be done in this eye."""
    return tuple(
        Stop(str(r.data["key"]), r.say("must_not", view, use), r.say("why", view, use), r.cite(use))
        for r in holding("stops", "stop", view, use)
    )


def steps(
    technique: str, view: View, use: Reader, situation: Situation, now: Now
) -> tuple[tuple[Step, ...], list[Doubt]]:
    """The steps of a technique from here on, with the cues that apply to this eye and who does each; what is doubtful
    about that."""
    found, turns = [], {}
    for rule in holding("steps", "step", view, use):
        if technique not in rule.data["techniques"]:
            continue
        step = Step(
            key=str(rule.data["key"]),
            name=rule.say("called" if "called" in rule.data else "name", view, use),
            do=rule.say("do", view, use),
            kit=tuple(tr(k) for k in rule.data["kit"]),
            who="",
            cues=tuple(_cue(c, view, use) for c in rule.inner if c.holds(view, use)),
            sources=rule.cite(use),
        )
        ends = tr(str(rule.data["take_over"])) if "take_over" in rule.data else None
        found.append(step)
        turns[step.key] = int(rule.data["level"]), ends
    return shared_out([Turn(step, *turns[step.key]) for step in steps_now(found, now, view, use)], situation)


def _cue(rule: Rule, view: View, use: Reader) -> Cue:
    means, then = rule.say("means", view, use), rule.say("then", view, use)
    return Cue(
        rule.say("see", view, use), means, then, (means, then), rule.data.get("finding"), rule.data.get("margin")
    )


def fallbacks(view: View, use: Reader) -> tuple[Fallback, ...]:
    """If this, then that."""
    return tuple(
        _ladder(r, tuple(_rung(rung, view, use) for rung in r.inner if rung.holds(view, use)), view, use)
        for r in holding("fallbacks", "fallback", view, use)
    )


def _ladder(rule: Rule, rungs: tuple[tuple[Rung, str], ...], view: View, use: Reader) -> Fallback:
    return Fallback(
        event=rule.say("event", view, use),
        signs=rule.say("signs", view, use),
        do=tuple(said for _, said in rungs),
        sources=rule.cite(use),
        key=str(rule.data["key"]),
        rungs=tuple(rung for rung, _ in rungs),
        leads_to=tuple(str(k) for k in rule.data.get("leads_to", ())),
    )


def _rung(rule: Rule, view: View, use: Reader) -> tuple[Rung, str]:
    """A rung and its sentence; what the theatre lacks is said, unless the sentence says it itself."""
    needed, has = rule.data.get("has"), view.get("theatre.has")
    here = None if needed is None or has is None else str(needed) in has
    words = None if needed is None else tr(str(needed).replace("-", " "))
    said = rule.say("do", view, use)
    rung = Rung(said, tuple(tr(k) for k in rule.data.get("kit", ())), here, words)
    if here is False and not rule.data.get("told"):
        said = tr("{do} (none here: {what})", do=said, what=words)
    return rung, said


def conflicts(view: View, use: Reader) -> tuple[Conflict, ...]:
    """Things of this eye that exclude one another, and how the plan settles it."""
    return tuple(
        Conflict(
            key=str(r.data["key"]),
            between=tuple(tr(str(b)) for b in r.data["between"]),
            settled=r.say("settled", view, use),
            why=r.say("why", view, use),
            sources=r.cite(use),
        )
        for r in holding("conflicts", "conflict", view, use)
    )


def after(view: View, use: Reader) -> After:
    """Visits, the pressure check and the warnings for the patient."""
    visits = tuple(
        Visit(r.say("when_text", view, use), r.say("check", view, use), r.say("act_on", view, use))
        for r in holding("after", "visit", view, use)
    )
    pressure = next(iter(sentences("after", "pressure", view, use)), "")
    return After(visits, pressure, tuple(sentences("after", "warning", view, use)))


def consent(view: View, use: Reader) -> tuple[str, ...]:
    """What is said before the signature."""
    return tuple(sentences("after", "consent", view, use))
