"""After surgery: which visits are due, what a visit found, what to do on it, and the refraction against the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal
from uuid import UUID, uuid5

from forestay.answer import unique
from forestay.case.bodies import Body, Happened, Seen
from forestay.case.fold import entries
from forestay.errors import InvalidInput
from forestay.evidence import Reader, default_evidence
from forestay.eye.validation import validate
from forestay.plan.followup import Advice, SignRule, Window, advice, signs, windows
from forestay.plan.model import Plan
from forestay.review.from_plan import predicted_refraction
from forestay.review.outcome import STEP_OF_LENS
from forestay.services.cases import KeptCase
from forestay.services.keptplan import last_decided, last_done, plan_before, steps_done
from forestay.services.operated import operated_at
from forestay.text import tr

State = Literal["seen", "due", "late", "missed", "coming", "unknown"]


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
    advice: tuple[Advice, ...]


def operated_on(opened: KeptCase) -> date | None:
    """The day of the operation: of the first step that was kept as done."""
    moment = operated_at(opened.facts)
    return moment.astimezone().date() if moment is not None else None


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


def visits(opened: KeptCase, plan: Plan, use: Reader | None = None) -> tuple[SeenVisit, ...]:
    """The visits that were kept, by day, each with what its figures ask for."""
    reader = use or default_evidence().reader()
    kept = _seen(opened)
    bodies = [body for _, body in kept]
    told = told_refraction(opened, plan)
    return tuple(
        SeenVisit(fact, body, advice(_view(opened, body, bodies[:n], told), reader))
        for n, (fact, body) in enumerate(kept)
    )


def _seen(opened: KeptCase) -> list[tuple[UUID, Seen]]:
    found = [(e.fact.header.id, e.body) for e in entries(opened.facts) if e.stands and isinstance(e.body, Seen)]
    return sorted(found, key=lambda one: one[1].day)


CORRECTED = ("best-corrected", "pinhole")


def _view(opened: KeptCase, body: Seen, earlier: Sequence[Seen], told: ToldRefraction) -> dict[str, Any]:
    """What the rules may look at: the visit, what changed since earlier ones, and the eye's nerve."""
    same = [v.acuity_logmar for v in earlier if v.acuity_type == body.acuity_type and v.acuity_logmar is not None]
    drop = body.acuity_logmar - min(same) if body.acuity_logmar is not None and same else None
    beyond = None
    if body.refraction_d is not None and told.half_d is not None:
        beyond = abs(body.refraction_d - told.expected_d) > told.half_d
    return {
        **{f"seen.{name}": value for name, value in body},
        "seen.acuity_drop_logmar": None if drop is None else round(drop, 6),
        "seen.acuity_corrected_logmar": body.acuity_logmar if body.acuity_type in CORRECTED else None,
        "seen.fell_below_chart": bool(body.acuity and any(v.acuity_logmar is not None for v in earlier)),
        "seen.refraction_beyond": beyond,
        "signs.glaucoma": opened.situation.case.signs.glaucoma,
    }


def found_signs(opened: KeptCase) -> tuple[SeenVisit, ...]:
    """What visits found beside figures, with what to do on each, in the order in which it was kept."""
    by_words = {rule.say: rule for rule in signs().values()}
    use = default_evidence().reader()
    return tuple(
        SeenVisit(e.fact.header.id, e.body, (_advice(by_words[e.body.note], use),))
        for e in entries(opened.facts)
        if e.stands and isinstance(e.body, Happened) and e.body.note in by_words
    )


def _advice(rule: SignRule, use: Reader) -> Advice:
    return Advice(rule.key, "", tr(rule.do), tuple(use.evidence_source(key) for key in rule.sources))


def due(opened: KeptCase, plan: Plan, today: date) -> tuple[Due, ...]:
    """The visits of the plan, each seen, due, late, missed or coming; unknown before the operation is kept."""
    start = operated_on(opened)
    days = [body.day for _, body in _seen(opened)]
    rows = []
    for visit in plan.after.visits:
        found = next((w for words, w in windows().items() if tr(words) == visit.when), ())
        if start is None or not found:
            rows.append(Due(visit.when, visit.check, visit.act_on, "unknown", None, None))
            continue
        for window in found:
            first, last = start + timedelta(window.first_day), start + timedelta(window.last_day)
            state = _state(window, days, (today - start).days)
            rows.append(Due(visit.when, visit.check, visit.act_on, state, first, last))
    return tuple(rows)


def _state(window: Window, days: Sequence[int], now: int) -> State:
    if any(window.first_day <= day <= window.last_day for day in days):
        return "seen"
    if now > window.last_day:
        return "missed" if any(day > window.last_day for day in days) else "late"
    return "due" if now >= window.first_day else "coming"


@dataclass(frozen=True)
class ToldRefraction:
    """What the plan told [D]: for the lens that was put in, where it is recorded; else the aim."""

    expected_d: float
    half_d: float | None
    """Half of the interval that the plan told for this place of the lens."""
    of_lens: bool
    kept: bool
    """Whether the plan was kept before the first step."""


def told_refraction(opened: KeptCase, plan: Plan) -> ToldRefraction:
    """The refraction that was told for this eye, with its interval."""
    standing = [e for e in entries(opened.facts) if e.stands]
    before = plan_before(standing, plan)
    lens, done = before.told["lens"], last_done(steps_done(standing), STEP_OF_LENS)
    place = last_decided(standing, "lens_position") or (before.told.get("measures") or {}).get("lens_position")
    entry = next((p for p in lens["positions"] if p["position"] == place), None)
    power = done.sizes.get("lens_power_d") if done is not None else None
    expected, _ = predicted_refraction(before.told, place, power)
    half = None
    if entry is not None and entry["low_d"] is not None and entry["high_d"] is not None:
        half = (entry["high_d"] - entry["low_d"]) / 2
    aim = lens["target_d"]
    return ToldRefraction(aim if expected is None else expected, half, expected is not None, before.kept)


@dataclass(frozen=True)
class Outcome:
    """The last refraction against what was told [D]."""

    day: int
    refraction_d: float
    told: ToldRefraction
    error_d: float
    within: bool | None
    """Whether it lies in the told interval; None where none was told."""


def outcome(opened: KeptCase, plan: Plan) -> Outcome | None:
    """The last refraction against the plan; None where none was measured."""
    last = next((body for _, body in reversed(_seen(opened)) if body.refraction_d is not None), None)
    if last is None or last.refraction_d is None:
        return None
    told = told_refraction(opened, plan)
    error = last.refraction_d - told.expected_d
    return Outcome(last.day, last.refraction_d, told, error, None if told.half_d is None else abs(error) <= told.half_d)


@dataclass(frozen=True)
class Expected:
    """What is expected of one figure, and whose word that is."""

    key: str
    says: str
    source: str


def expected(opened: KeptCase, plan: Plan, use: Reader | None = None) -> tuple[Expected, ...]:
    """The ranges that a visit is compared with."""
    reader = use or default_evidence().reader()
    n, cite = reader.number, reader.evidence_source
    told = told_refraction(opened, plan)
    source = (
        tr("plan kept before the first step") if told.kept else tr("plan of today; none was kept before the first step")
    )
    rows = [Expected("refraction_d", _refraction_words(told, n("second_eye.refraction_days")), source)]
    rows.append(
        Expected(
            "pressure_mmhg",
            tr(
                "pressure above {low:g} and up to {note:g} mmHg; treated above {treat:g}",
                low=n("followup.pressure_low_mmhg"),
                note=n("act.pressure_note_mmhg"),
                treat=n("act.pressure_treat_mmhg"),
            ),
            cite("pressure-spike"),
        )
    )
    rows.append(
        Expected(
            "acuity_logmar",
            tr(
                "corrected acuity {v:g} logMAR or better from day {day:g}",
                v=n("followup.acuity_expected_logmar"),
                day=n("followup.acuity_day"),
            ),
            cite("brown-black-2008"),
        )
    )
    cornea = tr(
        "cornea up to {v:g} micrometres from day {day:g}", v=n("followup.thickness_um"), day=n("followup.thickness_day")
    )
    rows.append(Expected("corneal_thickness_um", cornea, cite("cornea-thickness-warning")))
    margin = next((m for m in plan.margins if m.key == "cornea"), None)
    least = n("need.count_fail_per_mm2")
    if margin is not None:
        cells = tr("endothelium about {count:.0f} cells/mm2; not under {least:g}", count=margin.has, least=least)
    else:
        cells = tr("endothelium not under {least:g} cells/mm2", least=least)
    rows.append(Expected("endothelial_count_per_mm2", cells, cite("endothelium-flags")))
    return tuple(rows)


def doubts(opened: KeptCase, plan: Plan) -> tuple[str, ...]:
    """What the comparisons of this follow-up rest on that was recalled or assumed."""
    use = default_evidence().reader()
    expected(opened, plan, use)
    visits(opened, plan, use)
    return tuple(doubt.message for doubt in unique(use.doubts()))


def _refraction_words(told: ToldRefraction, day: float) -> str:
    what = tr("told for the lens put in") if told.of_lens else tr("aim; the power of the lens put in is not recorded")
    if told.half_d is None:
        return tr("refraction {v:+.2f} D from day {day:g} ({what})", v=told.expected_d, day=day, what=what)
    low, high = told.expected_d - told.half_d, told.expected_d + told.half_d
    return tr(
        "refraction {v:+.2f} D ({low:+.2f} to {high:+.2f}) from day {day:g} ({what})",
        v=told.expected_d,
        low=low,
        high=high,
        day=day,
        what=what,
    )


def outcome_words(found: Outcome | None) -> str:
    """The refraction against the plan, in a sentence; empty where none was measured."""
    if found is None:
        return ""
    what = tr("told for the lens put in") if found.told.of_lens else tr("aim")
    lies = ""
    if found.within is not None:
        lies = tr("inside the told interval") if found.within else tr("outside the told interval")
    words = tr(
        "Day {day}: refraction {v:+.2f} D, {what} {told:+.2f} D: {error:+.2f} D off",
        day=found.day,
        v=found.refraction_d,
        what=what,
        told=found.told.expected_d,
        error=found.error_d,
    )
    return f"{words}; {lies}." if lies else f"{words}."


def visit_day(opened: KeptCase, on: date, today: date) -> int:
    """The day after the operation of a visit by its date."""
    start = operated_on(opened)
    if start is None:
        raise InvalidInput(
            tr("The day of the operation is not recorded; give the day after the operation."),
            field="on",
            allowed=tr("day after the operation"),
        )
    if not start <= on <= today:
        words = tr("{first} to {last}", first=start.isoformat(), last=today.isoformat())
        raise InvalidInput(
            tr("on is {on}; allowed: {words}.", on=on.isoformat(), words=words), field="on", allowed=words
        )
    return (on - start).days


def moment_of(opened: KeptCase, day: int, now: datetime) -> datetime | None:
    """When a visit of an earlier day was, at noon; None for one of today, or where the operation is not recorded."""
    start, today = operated_on(opened), now.astimezone().date()
    if start is None or start + timedelta(day) >= today:
        return None
    on = start + timedelta(day)
    return datetime(on.year, on.month, on.day, 12).astimezone()


def day_of(opened: KeptCase, now: datetime) -> int | None:
    """Days since the operation."""
    start = operated_on(opened)
    return None if start is None else max(0, (now.astimezone().date() - start).days)
