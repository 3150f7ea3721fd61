"""All sentences of a plan, for tests of what they depend on."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

from forestay.plan.model import Origin, Plan

READ_BY_MACHINES = {
    "key",
    "name",
    "technique",
    "control",
    "field",
    "scale",
    "group",
    "code",
    "rule",
    "position",
    "sources",
    "rests_on",
    "needs",
    "source",
    "finding",
    "raised_keys",
}


def sentences(plan: Plan) -> list[str]:
    """Every text that a person reads, in order; doubts, sources and the version left out."""
    parts = (
        plan.decision,
        plan.checks,
        plan.options,
        plan.chosen,
        plan.margins,
        plan.lens,
        plan.astigmatism,
        plan.drawing.seat_says if plan.drawing else "",
        plan.steps,
        plan.kit["items"],
        plan.doses,
        plan.fallbacks,
        plan.stops,
        plan.consent,
        plan.after,
    )
    return [text for part in parts for text in _texts(part)]


def _texts(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, Origin):
        return []
    if is_dataclass(value):
        return [t for f in fields(value) if f.name not in READ_BY_MACHINES for t in _texts(getattr(value, f.name))]
    if isinstance(value, tuple | list):
        return [t for v in value for t in _texts(v)]
    return []
