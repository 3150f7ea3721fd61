"""A desk over a store in memory, with the invented cases and a quick invented plan that answers to decisions."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from forestay.evidence import default_evidence
from forestay.eye.situation import Situation
from forestay.plan.events import states_of
from forestay.plan.model import Cue, Plan, Step
from forestay.plan.now import now_of
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from tests.factories import example_plan

CASE = "trauma-gap"
NEEDED_MM = 5.6
USE = default_evidence().reader()
HOLD = Step("hold-back", "Hold and look: the capsule", "Keep the instrument in.", (), "surgeon", ())


def invented_plan(situation: Situation) -> Plan:
    """The invented plan with the decisions taken over; only the capsulorhexis moves a margin, and an open capsule asks for
    a step at once."""
    plan = example_plan(side=situation.case.eye.side, seat=situation.case.theatre.seat or "superior")
    decided = situation.decisions
    changes: dict[str, Any] = {
        name: value
        for name, value in (
            ("capsulorhexis_mm", decided.capsulorhexis_mm),
            ("ring", decided.ring),
            ("tunnel_clock", decided.tunnel_clock),
            ("tunnel_outer_mm", decided.tunnel_chord_mm),
            ("hook_reach_mm", decided.hook_reach_mm),
            ("ring_gap_clock", decided.ring_gap_clock),
        )
        if value is not None
    }
    if decided.pupil_hooks is not None:
        hours = tuple(12 * (i + 0.5) / decided.pupil_hooks for i in range(decided.pupil_hooks))
        changes.update(pupil_hooks=decided.pupil_hooks, hook_clocks=hours)
    assert plan.measures is not None
    measures = replace(plan.measures, **changes)
    size = measures.capsulorhexis_mm or 0.0
    room = round(size - NEEDED_MM, 6)
    margins = tuple(
        replace(m, has=size, margin=room, low=room - 0.5, high=room + 0.5) if m.key == "capsulorhexis" else m
        for m in plan.margins
    )
    now = now_of(situation.progress, USE)
    return replace(
        plan,
        measures=measures,
        margins=margins,
        steps=(*plan.steps[: len(now.done)], HOLD, *plan.steps[len(now.done) :])
        if "capsule-open" in now.keys
        else plan.steps,
        happened=states_of(now, USE),
    )


def answering_plan(situation: Situation) -> Plan:
    """The invented plan, with steps that answer to findings: after folds at the puncture the rim is opened otherwise, and
    after a lens that travels the nucleus is brought out otherwise."""
    plan, signs = invented_plan(situation), situation.case.signs
    folds = situation.case.surgery is not None and situation.case.surgery.puncture == "folds"
    moves = signs.phacodonesis == "after-movement"
    cues = (Cue("radial folds", "weak zonule", "more OVD"), Cue("the lens travels", "weak zonule", "hooks at the rim"))
    otherwise = {"capsulorhexis": folds * " Slowly, two hands.", "nucleus": moves * " Hold the rim with hooks."}
    steps = tuple(replace(step, do=step.do + otherwise.get(step.key, ""), cues=cues) for step in plan.steps)
    return replace(plan, steps=steps)


def invented_desk() -> Desk:
    """The five invented cases, kept in memory."""
    store = MemoryFactStore()
    keep_demo(store)
    return Desk(store, Planner(invented_plan), Who(author="desk", device="web"))
