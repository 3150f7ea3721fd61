"""After surgery: which visits are due, what a visit found, what to do on it, and the refraction against the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal
from uuid import UUID, uuid5

from forestay.case.bodies import Body, Done, Happened, Seen
from forestay.case.fold import entries
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.eye.validation import validate
from forestay.plan.followup import signs, windows
from forestay.plan.model import Plan
from forestay.services.cases import KeptCase
from forestay.services.theatre import CHECK, LENS_CHECK
from forestay.text import tr

State = Literal["seen", "due", "late", "coming", "unknown"]


@dataclass(frozen=True)
class Due:
    """One visit: when, what to look at, what to act on, and whether it was."""

    when: str
    check: str
    act_on: str
    state: State
    first: date | None
    last: date | None


@dataclass(frozen=True)
class SeenVisit:
    """A visit, or something that a visit found, with what to do on it."""

    fact: UUID
    body: Seen | Happened
    warnings: tuple[str, ...]


def operated_on(opened: KeptCase) -> date | None:
    """The day of the operation: of the first step that was kept as done."""
    moments = [
        e.fact.header.happened_at
        for e in entries(opened.facts)
        if e.stands and isinstance(e.body, Done) and not e.body.step.startswith((CHECK, LENS_CHECK))
    ]
    return min(moments).astimezone().date() if moments else None


def seen(values: Mapping[str, Any], found: Sequence[str], *, key: UUID) -> dict[UUID, Body]:
    """A visit as facts: its figures, and one event for each sign that was found."""
    bodies: dict[UUID, Body] = {}
    if len(values) > 1 or not found:
        bodies[key] = validate(Seen, dict(values))
    for name in found:
        rule = signs().get(name)
        if rule is None:
            allowed = ", ".join(signs())
            raise InvalidInput(tr("There is no sign {name}.", name=name[:40]), field="found", allowed=allowed)
        told = {"event": rule.event or "other", "note": rule.say}
        bodies[uuid5(key, name)] = validate(Happened, told)
    return bodies


def visits(opened: KeptCase) -> tuple[SeenVisit, ...]:
    """The visits that were kept, by day."""
    found = [
        SeenVisit(e.fact.header.id, e.body, pressure_warnings(e.body))
        for e in entries(opened.facts)
        if e.stands and isinstance(e.body, Seen)
    ]
    return tuple(sorted(found, key=lambda visit: visit.body.day if isinstance(visit.body, Seen) else 0))


def found_signs(opened: KeptCase) -> tuple[SeenVisit, ...]:
    """What visits found beside figures, with what to do on each, in the order in which it was kept."""
    by_words = {rule.say: rule for rule in signs().values()}
    return tuple(
        SeenVisit(e.fact.header.id, e.body, (tr(by_words[e.body.note].do),))
        for e in entries(opened.facts)
        if e.stands and isinstance(e.body, Happened) and e.body.note in by_words
    )


def pressure_warnings(body: Seen) -> tuple[str, ...]:
    """What to do on the pressure of a visit; empty where nothing is out of the ordinary."""
    evidence = default_evidence()
    note, treat = (float(evidence[f"act.pressure_{word}_mmhg"].value) for word in ("note", "treat"))  # type: ignore[arg-type]
    if body.pressure_mmhg is not None and body.pressure_mmhg > treat:
        return (tr("Pressure above {treat:g} mmHg: treat now, and measure again the same day.", treat=treat),)
    if body.pressure_mmhg is not None and body.pressure_mmhg > note:
        return (tr("Pressure above {note:g} mmHg: treat if the nerve is damaged; measure again.", note=note),)
    return ()


def due(opened: KeptCase, plan: Plan, today: date) -> tuple[Due, ...]:
    """The visits of the plan, each seen, due, late or coming; unknown before the operation is kept."""
    start = operated_on(opened)
    days = [visit.body.day for visit in visits(opened) if isinstance(visit.body, Seen)]
    rows = []
    for visit in plan.after.visits:
        window = next((w for words, w in windows().items() if tr(words) == visit.when), None)
        first = last = None
        state: State = "unknown"
        if start is not None and window is not None:
            first, last = start + timedelta(window.first_day), start + timedelta(window.last_day)
            if any(window.first_day <= day <= window.last_day for day in days):
                state = "seen"
            else:
                state = "late" if today > last else "due" if today >= first else "coming"
        rows.append(Due(visit.when, visit.check, visit.act_on, state, first, last))
    return tuple(rows)


@dataclass(frozen=True)
class Outcome:
    """The last refraction against the aim [D]; ``sd_d`` is the error that the plan expected."""

    day: int
    refraction_d: float
    aim_d: float
    error_d: float
    sd_d: float | None


def outcome(opened: KeptCase, plan: Plan) -> Outcome | None:
    """The last refraction against the plan; None where none was measured."""
    bodies = [v.body for v in reversed(visits(opened)) if isinstance(v.body, Seen)]
    last = next((body for body in bodies if body.refraction_d is not None), None)
    if last is None or last.refraction_d is None:
        return None
    place = plan.measures.lens_position if plan.measures else None
    position = next((p for p in plan.lens.positions if p.position == place), None)
    aim = plan.lens.target_d
    return Outcome(
        last.day, last.refraction_d, aim, last.refraction_d - aim, position.sd_d if position is not None else None
    )


def day_of(opened: KeptCase, now: datetime) -> int | None:
    """Days since the operation."""
    start = operated_on(opened)
    return None if start is None else max(0, (now.astimezone().date() - start).days)
