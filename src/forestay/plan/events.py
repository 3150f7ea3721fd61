"""What the plan makes of what happened in the operation: steps from here on, margins that still hold, risks that follow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from forestay.evidence import Reader, default_evidence
from forestay.plan.model import Margin, Option, Risk, Unassessed
from forestay.plan.model_steps import State, Step
from forestay.plan.now import Now
from forestay.plan.risks import quoted
from forestay.plan.ruleset import ruleset
from forestay.risk import series
from forestay.text import tr

RUPTURE = "capsule-rupture"


def states_of(now: Now, use: Reader) -> tuple[State, ...]:
    """What has happened, for who reads the plan."""
    return tuple(State(str(s.data["key"]), tr(str(s.data["say"])), s.cite(use)) for s in now.states)


def steps_now(steps: Sequence[Step], now: Now, view: Mapping[str, Any], use: Reader) -> tuple[Step, ...]:
    """The steps from here on: what is done at once comes after the last step that is done; what no longer applies falls
    away; what is still to come says what happened. Steps that are done stay as they were."""
    if not now.states:
        return tuple(steps)
    first = [s for s in steps if s.key in urgent() and s.key not in now.done]
    usual = [s for s in steps if s not in first]
    last = max((i for i, s in enumerate(usual) if s.key in now.done), default=-1) + 1
    kept = [_told(s, now, view, use) for s in usual[last:] if _stays(s.key, now)]
    skipped = [s for s in usual[:last] if s.key in now.done or _stays(s.key, now)]
    return (*skipped, *first, *kept)


@cache
def urgent() -> dict[str, str]:
    """The steps that are done at once, each with its state."""
    return {str(r.data["key"]): str(r.data["now"]) for r in ruleset("steps")["step"] if "now" in r.data}


def at_once(event: str | None) -> tuple[str, ...]:
    """The steps that an event of the record asks for at once, whatever the eye."""
    view = {"progress.happened": (event,) if event else (), "progress.done": ()}
    known = {c.name for r in ruleset("events")["state"] for line in r.when.lines for c in line}
    if not event or not known <= set(view):
        return ()
    use = default_evidence().reader()
    held = {str(r.data["key"]) for r in ruleset("events")["state"] if r.holds(view, use)}
    return tuple(key for key, state in urgent().items() if state in held)


def _stays(key: str, now: Now) -> bool:
    kept = [s.data["keeps"] for s in now.states if "keeps" in s.data]
    if any(key not in keys for keys in kept):
        return False
    return not any(key in s.data.get("leaves_out", ()) for s in now.states)


def _told(step: Step, now: Now, view: Mapping[str, Any], use: Reader) -> Step:
    said = [
        also.say("do", view, use)
        for state in now.states
        for also in state.inner
        if step.key in also.data["steps"] and also.holds(view, use)
    ]
    return replace(step, do=" ".join([step.do, *said])) if said else step


def from_here(option: Option, now: Now, use: Reader) -> Option:
    """An option by what has happened so far. It moves no rank: a technique that was begun is not parted from for it."""
    if not now.states or option.measures is None:
        return option
    margins, lacking = margins_now(option.margins, option.unassessed, now)
    return replace(option, margins=margins, unassessed=lacking, risks=risks_now(option.risks, now, use))


def margins_now(
    margins: Sequence[Margin], lacking: Sequence[Unassessed], now: Now
) -> tuple[tuple[Margin, ...], tuple[Unassessed, ...]]:
    """The margins that still hold, and those that an event took the ground from, with why."""
    gone = {str(key): tr(str(s.data["unassessed_why"])) for s in now.states for key in s.data.get("unassessed", ())}
    found = [Unassessed(tr(m.key), (gone[m.key],)) for m in margins if m.key in gone]
    return tuple(m for m in margins if m.key not in gone), (*lacking, *found)


def risks_now(risks: Sequence[Risk], now: Now, use: Reader) -> tuple[Risk, ...]:
    """The risks from here on: once the capsule has opened its chance says nothing more, and what follows it is told."""
    if not now.ruptured:
        return tuple(risks)
    found = [quoted(rate, use) for rate in series.after_capsule_rupture(use.evidence.__getitem__)]
    return (*(r for r in risks if r.complication != RUPTURE), *found)
