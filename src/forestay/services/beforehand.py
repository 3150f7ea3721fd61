"""Theatre worked out beforehand: the plan after each finding that is offered, for a device that may lose the network.

Each finding alone on what is known now, by the very function that plans after it was found. Two findings together are not
worked out; whoever shows this must say so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import NAMESPACE_URL, uuid5

from forestay.case.fact import new_fact
from forestay.case.fold import fold
from forestay.errors import InvalidInput
from forestay.eye.situation import Situation
from forestay.plan.model import Plan
from forestay.plan.theatre import FindingRule, finding_rules, rule_for_cue
from forestay.services import theatre
from forestay.services.cases import KeptCase
from forestay.services.planner import digest
from forestay.text import tr

DEVICE = "beforehand"


@dataclass(frozen=True, slots=True)
class Case:
    """Findings that lead to one and the same situation."""

    key: str
    names: tuple[str, ...]
    situation: Situation


def finding(name: str) -> tuple[FindingRule | None, str]:
    """What a finding as a form names it means: ``cue WORDS`` of a step, or ``rule KEY`` that is offered at every step."""
    kind, _, what = name.partition(" ")
    if kind == "cue" and what:
        return rule_for_cue(what), what
    rule = next((r for r in finding_rules() if kind == "rule" and r.key == what), None)
    if rule is None:
        raise InvalidInput(tr("There is no such finding."), field="found", value=name[:40])
    return rule, rule.say


def offered(plan: Plan) -> dict[str, str]:
    """Every finding that the pages of this plan offer, with the step at which it is first offered."""
    if not plan.steps:
        return {}
    names = {f"cue {cue.see}": step.key for step in reversed(plan.steps) for cue in step.cues}
    return names | {f"rule {rule.key}": plan.steps[0].key for rule in finding_rules() if rule.always}


def after(opened: KeptCase, name: str, step: str) -> Situation:
    """What the facts would amount to if this were found now, without a figure where one is asked for."""
    rule, see = finding(name)
    known = {"signs.phacodonesis": opened.situation.case.signs.phacodonesis}
    key = uuid5(NAMESPACE_URL, f"{opened.case_id} {name}")
    bodies = theatre.found(rule, see, step, None, known, key=key)
    pending = [
        new_fact(
            body,
            case=opened.case_id,
            author=DEVICE,
            device=DEVICE,
            device_sequence=number,
            based_on=opened.head,
            id=mark,
        )
        for number, (mark, body) in enumerate(bodies.items(), start=1)
    ]
    return fold([*opened.facts, *pending])


def cases(opened: KeptCase, plan: Plan) -> tuple[Case, ...]:
    """The situations that the offered findings lead to, each once."""
    grouped: dict[str, list[str]] = {}
    situations: dict[str, Situation] = {}
    for name, step in offered(plan).items():
        situation = after(opened, name, step)
        key = digest(situation)[:16]
        grouped.setdefault(key, []).append(name)
        situations[key] = situation
    return tuple(Case(key, tuple(names), situations[key]) for key, names in grouped.items())


def by_name(told: tuple[Case, ...]) -> Mapping[str, str]:
    """Finding -> key of its situation."""
    return {name: one.key for one in told for name in one.names}
