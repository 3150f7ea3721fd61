"""The plan that an operation is compared with: the last one kept before its first step, else the one of today."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from forestay.case.bodies import Decided, Done, Planned
from forestay.case.fold import Entry
from forestay.plan.model import Plan, as_dict
from forestay.services.operated import CHECK, LENS_CHECK


@dataclass(frozen=True)
class KeptPlan:
    """A plan in plain JSON types."""

    told: Mapping[str, Any]
    kept: bool
    """True where it was kept before the first step; False for the plan of today."""


def steps_done(standing: Sequence[Entry]) -> list[Entry]:
    """The steps of the operation that were kept as done, without ticked checks."""
    return [e for e in standing if isinstance(e.body, Done) and not e.body.step.startswith((CHECK, LENS_CHECK))]


def plan_before(standing: Sequence[Entry], plan: Plan) -> KeptPlan:
    """The plan as it was before the first step."""
    done = steps_done(standing)
    first = done[0].index if done else len(standing)
    kept = [e.body for e in standing if isinstance(e.body, Planned) and e.index < first]
    return KeptPlan(json.loads(kept[-1].plan_bytes), True) if kept else KeptPlan(as_dict(plan), False)


def last_decided(standing: Sequence[Entry], subject: str) -> Any:
    """The last choice on a subject; None where there is none."""
    said = [e.body.choice for e in standing if isinstance(e.body, Decided) and e.body.subject == subject]
    return said[-1] if said else None


def last_done(done: Sequence[Entry], step: str) -> Done | None:
    """The last time that a step was kept as done."""
    return next((e.body for e in reversed(done) if isinstance(e.body, Done) and e.body.step == step), None)
