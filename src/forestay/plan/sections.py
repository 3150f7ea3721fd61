"""The parts of a plan that rules write: stops, steps with cues, fallbacks, follow-up, consent. Kit, doses: trolley."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from forestay.evidence import Reader
from forestay.eye.filling import fill
from forestay.plan.model import After, Cue, Fallback, Step, Stop, Visit
from forestay.plan.ruleset import holding, sentences
from forestay.text import tr

View = Mapping[str, Any]
LEVEL_OF_GRADE = {"junior-trainee": 1, "senior-trainee": 2, "independent": 3, "consultant": 3}
"""The hardest step that each grade takes alone: 1 beginner, 2 middle, 3 experienced."""


def stops(view: View, use: Reader) -> tuple[Stop, ...]:
    """What must not be done in this eye."""
    return tuple(
        Stop(str(r.data["key"]), r.say("must_not", view, use), r.say("why", view, use), r.cite(use))
        for r in holding("stops", "stop", view, use)
    )


def steps(technique: str, view: View, use: Reader) -> tuple[Step, ...]:
    """The steps of a technique, with the cues that apply to this eye."""
    grade = view.get("theatre.surgeon_grade")
    rows = []
    for rule in holding("steps", "step", view, use):
        if technique not in rule.data["techniques"]:
            continue
        cues = tuple(
            Cue(c.say("see", view, use), c.say("means", view, use), c.say("then", view, use))
            for c in rule.inner
            if c.holds(view, use)
        )
        rows.append(
            Step(
                key=str(rule.data["key"]),
                name=tr(str(rule.data["name"])),
                do=rule.say("do", view, use),
                kit=tuple(tr(k) for k in rule.data["kit"]),
                who=who_does(int(rule.data["level"]), grade),
                cues=cues,
                sources=rule.cite(use),
            )
        )
    return tuple(rows)


def who_does(level: int, grade: str | None) -> str:
    """Who does a step of that level where a surgeon of that grade operates."""
    if grade is None:
        return tr("surgeon")
    if LEVEL_OF_GRADE[grade] >= level:
        return tr("trainee") if "trainee" in grade else tr("surgeon")
    return tr("supervisor takes over")


def fallbacks(view: View, use: Reader) -> tuple[Fallback, ...]:
    """If this, then that."""
    return tuple(
        Fallback(
            event=r.say("event", view, use),
            signs=r.say("signs", view, use),
            do=tuple(_fill_each(r.data["do"], view, use)),
            sources=r.cite(use),
        )
        for r in holding("fallbacks", "fallback", view, use)
    )


def _fill_each(lines: Any, view: View, use: Reader) -> list[str]:
    return [fill(str(line), view, use) for line in lines]


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
