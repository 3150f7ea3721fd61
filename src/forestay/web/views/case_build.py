"""From a case and its plan to the view of its page. No rule and no formula here: only words and order."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from markupsafe import Markup

from forestay.case.fields import SECTIONS
from forestay.draw.above import draw_above
from forestay.draw.above_legend import key_samples
from forestay.draw.controls import BY_NAME, CONTROLS, Control, value_of, value_words
from forestay.draw.gap_arc import arc_text, arc_words, main_run
from forestay.draw.names import side_words
from forestay.draw.palette import SCREEN
from forestay.draw.section import draw_section
from forestay.eye.situation import Situation
from forestay.frame import HOURS, wrap_hour
from forestay.plan.compare import Changes
from forestay.plan.deciding import change_words
from forestay.plan.model import Decision, Drawing, Measures, Option, Plan, RingRest
from forestay.plan.said import ring_words
from forestay.plan.take_over import TO_THE_END
from forestay.report.words import doubt_groups, own_doubts
from forestay.services.actor import may
from forestay.services.cases import KeptCase
from forestay.services.identity import Identity
from forestay.text import field_words, tr
from forestay.web.views.case import (
    Band,
    CaseView,
    ChangeRow,
    ChangesView,
    ControlRow,
    DecisionLine,
    FactRow,
    GapRow,
    KeyRow,
    OptionRow,
    TakeOver,
    TriedItem,
    Trying,
)
from forestay.web.views.entry_words import section_titles
from forestay.web.views.margins import margin_rows
from forestay.web.views.shell import shell
from forestay.web.views.ways_build import ways_view

Value = float | int | str | tuple[float, ...]
GAP = "weak_hours"


def case_view(
    opened: KeptCase, base: Plan, plan: Plan, look: Mapping[str, Any], changes: Changes | None = None
) -> CaseView:
    """The page of one eye. ``base`` is the plan as decided; ``plan`` the one with ``look`` tried; ``changes`` what that
    look, or the last fact, changed."""
    tried = dict(look) if base.measures and any(_moved(base, name, v) for name, v in look.items()) else {}
    address = _addresses(opened.case_id, tried)
    main, zonule = margin_rows(plan, base if tried else None, address)
    drawing, measures = plan.drawing, plan.measures
    return CaseView(
        shell=shell(f"{case_label(opened.case_id)} · {side_words(opened.situation.case.eye.side)}"),
        case_id=opened.case_id,
        band=band(opened),
        decision=decision_line(plan.decision),
        changes=_changes(changes),
        trying=_trying(tried, base),
        held=" ".join(tried),
        based_on=opened.head,
        said=_said(plan),
        sections=tuple(
            (f"/cases/{opened.case_id}/facts/{name}", section_titles().get(name, name)) for name in SECTIONS
        ),
        facts=_facts(opened),
        disputes=tuple(
            tr("{field}: {values}", field=field_words(d.field), values=tr(" or ").join(d.values))
            for d in opened.situation.disagreements
        ),
        checks=tuple(replace(c, field=field_words(c.field)) for c in plan.checks),
        estimates=plan.estimates,
        above=_above(drawing, measures),
        key=_key(drawing, measures),
        section=Markup(draw_section(drawing, measures, palette=SCREEN)) if drawing and measures else None,  # noqa: S704
        controls=controls(measures, tried, plan.ring_rest) if measures else (),
        gap=_gap(drawing, measures, held=GAP in tried) if drawing and measures else None,
        margins=main,
        zonule=zonule,
        unassessed=plan.unassessed,
        options=tuple(_option(o, plan) for o in sorted(plan.options, key=lambda o: o.rank)),
        ways=ways_view(plan),
        chosen=plan.chosen,
        supports=plan.supports,
        finding_changes=plan.finding_changes,
        lens=plan.lens,
        astigmatism=plan.astigmatism,
        seat_says=drawing.seat_says if drawing else "",
        steps=plan.steps,
        turn=_take_over(opened, plan),
        kit=tuple(plan.kit["items"]),
        kit_shelf=plan.kit.get("shelf", ""),
        doses=plan.doses,
        fallbacks=plan.fallbacks,
        stops=plan.stops,
        consent=plan.consent,
        after=plan.after,
        doubts=own_doubts(plan),
        doubt_groups=doubt_groups(plan),
        sources=plan.sources,
        version=tuple(plan.version.items()),
        caution=plan.caution,
    )


def _said(plan: Plan) -> str:
    short = [m.step for m in plan.margins if m.group == "main" and m.margin < 0]
    if not short:
        return tr("No margin is short.")
    return tr("Short: {steps}.", steps=", ".join(short))


def _above(drawing: Drawing | None, measures: Measures | None) -> Markup | None:
    if drawing is None or measures is None:
        return None
    return Markup(draw_above(drawing, measures, handles=True, palette=SCREEN, with_key=False))  # noqa: S704 - our own markup, escaped there


def _key(drawing: Drawing | None, measures: Measures | None) -> tuple[KeyRow, ...]:
    if drawing is None or measures is None:
        return ()
    rows = key_samples(drawing, measures, palette=SCREEN)
    return tuple(KeyRow(Markup(sample), words) for sample, words in rows)  # noqa: S704 - our own markup


def case_label(case_id: str) -> str:
    """The name of a case on screen and paper: its identity, exactly."""
    return tr("Case {case_id}", case_id=case_id)


def band(opened: KeptCase) -> Band:
    """Whose eye this is."""
    case = opened.situation.case
    kept = tr("{count} facts", count=len([f for f in opened.thread if not f.withdrawn]))
    if opened.last_kept is not None:
        kept = tr("kept {time:%H:%M} · {facts}", time=opened.last_kept, facts=kept)
    return Band(
        side=side_words(case.eye.side),
        label=case_label(opened.case_id),
        about=about(opened.situation, invented=opened.invented),
        kept=kept,
        person=_person(opened.identity),
        identify=may("identify"),
    )


def _person(identity: Identity | None) -> str:
    """Name, date of birth with the month as a word, number."""
    if identity is None:
        return ""
    born = date.fromisoformat(identity.birth_date) if identity.birth_date else None
    told = [
        identity.name,
        tr("born {day} {month} {year}", day=born.day, month=_MONTHS()[born.month - 1], year=born.year) if born else "",
        tr("number {number}", number=identity.number) if identity.number else "",
    ]
    return " · ".join(part for part in told if part)


def _MONTHS() -> tuple[str, ...]:  # noqa: N802 - a table in the reader's language
    return (
        tr("January"),
        tr("February"),
        tr("March"),
        tr("April"),
        tr("May"),
        tr("June"),
        tr("July"),
        tr("August"),
        tr("September"),
        tr("October"),
        tr("November"),
        tr("December"),
    )


def about(situation: Situation, *, invented: bool) -> str:
    """``invented · woman, 71 · surgeon sits superior``."""
    person, seat = situation.case.person, situation.case.theatre.seat
    who = {"female": tr("woman"), "male": tr("man")}.get(person.sex or "", tr("person"))
    said = [tr("invented")] if invented else []
    said.append(tr("{who}, {age:g}", who=who, age=person.age_years))
    if seat:
        said.append(tr("surgeon sits temporal") if seat == "temporal" else tr("surgeon sits superior"))
    else:
        said.append(tr("surgeon's seat not known"))
    return " · ".join(said)


def decision_line(decision: Decision) -> DecisionLine:
    """The sentence with its verdict set apart, so that the eye finds it."""
    lead, rest = re.match(r"([^.,;:]*[.,;:]?)\s*(.*)", decision.sentence, re.DOTALL).groups()  # type: ignore[union-attr]
    first = tuple((f.do, f.why) for f in decision.first)
    return DecisionLine(lead, rest, decision.why, first, tuple(change_words(c) for c in decision.would_change))


def _facts(opened: KeptCase) -> tuple[FactRow, ...]:
    return tuple(
        FactRow(
            time=f"{entry.time:%H:%M}",
            words=entry.words,
            decided=entry.decided,
            fact_id=str(entry.fact_id),
            undone=entry.why if entry.withdrawn else None,
            back_key=str(uuid4()) if entry.decided and not entry.withdrawn else None,
        )
        for entry in opened.thread
    )


def controls(measures: Measures, held: Mapping[str, Any], ring_rest: RingRest | None = None) -> tuple[ControlRow, ...]:
    """The controls as they stand in the plan shown; where the ring opens, how the bag then lies."""
    notes = {"ring_gap_clock": ring_rest.words} if ring_rest is not None else {}
    standing = ((c, value_of(c, measures)) for c in CONTROLS)
    return tuple(_control(c, v, c.name in held, notes.get(c.name, "")) for c, v in standing if v is not None)


def _control(control: Control, value: float, held: bool, note: str) -> ControlRow:
    choices = tuple((option, ring_words(option)) for option in control.options)
    return ControlRow(
        name=control.name,
        label=tr(control.label),
        value=control.options[round(value)] if choices else f"{value:g}",
        shown=value_words(control, value),
        unit=tr(control.unit),
        low=min(control.low, value),
        high=max(control.high, value),
        step=control.step,
        choices=choices,
        held=held,
        turns=control.kind == "angular",
        note=note,
    )


def _gap(drawing: Drawing, measures: Measures, *, held: bool) -> GapRow:
    run = main_run(drawing.gaps)
    return GapRow(
        value=arc_text(drawing.gaps),
        shown=arc_words(drawing.gaps),
        first=f"{run[0]:g}" if run else None,
        last=f"{run[-1]:g}" if run else None,
        start=arc_text((wrap_hour(float(int(measures.tunnel_clock + len(HOURS) / 2))),)),
        held=held,
    )


def _changes(found: Changes | None) -> ChangesView:
    if found is None or not found.line:
        return ChangesView(tr("Move a handle or a field: what changes, and why, is said here."), ())
    return ChangesView(found.line, tuple(ChangeRow(item.words, item.why) for item in found.items))


def _moved(base: Plan, name: str, value: Value) -> bool:
    if name == GAP:
        return base.drawing is not None and arc_text(base.drawing.gaps) != _address_text(value)
    return base.measures is not None and _now(base.measures, name) != value


def _now(measures: Measures, name: str) -> Value | None:
    control = BY_NAME[name]
    now = value_of(control, measures)
    return control.options[round(now)] if control.options and now is not None else now


def _trying(tried: Mapping[str, Value], base: Plan) -> Trying | None:
    if not tried or base.measures is None:
        return None
    items = tuple(_tried(name, value, base.measures) for name, value in tried.items() if name != GAP)
    gap = None
    if GAP in tried:
        text = _address_text(tried[GAP])
        before = arc_words(base.drawing.gaps if base.drawing else ())
        gap = TriedItem(tr("Gap"), GAP, text, arc_words(tried[GAP]), before)  # type: ignore[arg-type]
    return Trying(items, gap, str(uuid4()), str(uuid4()))


def _tried(name: str, value: Value, base: Measures) -> TriedItem:
    control = BY_NAME[name]
    before = value_of(control, base)
    index = float(control.options.index(str(value))) if control.options else float(value)  # type: ignore[arg-type]
    return TriedItem(
        label=tr(control.label),
        name=name,
        value=_address_text(value),
        now=value_words(control, index),
        before=value_words(control, before) if before is not None else tr("none"),
    )


def _address_text(value: Value) -> str:
    """A tried value as it stands in an address."""
    if isinstance(value, tuple):
        return arc_text(value)
    return f"{value:g}" if isinstance(value, int | float) else value


def _addresses(case_id: str, tried: Mapping[str, Any]) -> Callable[[str, Value], str]:
    """Where the look is that also has this control at that value."""

    def address(control: str, value: Value) -> str:
        return look_address(case_id, {**tried, control: value})

    return address


def look_address(case_id: str, look: Mapping[str, Any]) -> str:
    """The address of a look; of the page itself where nothing is tried."""
    if not look:
        return f"/cases/{case_id}"
    plain = {name: _address_text(value) for name, value in look.items()}
    return f"/cases/{case_id}/margins?{urlencode(plain, safe=',')}"


def _take_over(opened: KeptCase, plan: Plan) -> TakeOver | None:
    """The form for the take-over point, as it stands; None where no trainee operates."""
    if "trainee" not in (opened.situation.case.theatre.surgeon_grade or "") or len(plan.steps) < 2:
        return None
    decided = opened.situation.decisions
    usual = next((s.key for s in plan.steps if s.who != plan.steps[0].who), plan.steps[-1].key)
    return TakeOver(
        steps=tuple((s.key, s.name) for s in plan.steps),
        point=decided.take_over or usual,
        back=decided.hand_back or TO_THE_END,
        decided=decided.take_over is not None,
        key=str(uuid4()),
    )


def _option(option: Option, plan: Plan) -> OptionRow:
    return OptionRow(
        technique=option.technique,
        label=option.label,
        rank=option.rank,
        chosen=option.technique == plan.chosen.technique,
        available=option.available,
        why=option.why,
        short=tuple(m.step for m in option.margins if m.margin < 0),
        risks=option.risks,
        unassessed=tuple(tr("{step} (lacks {what})", step=u.step, what=", ".join(u.lacks)) for u in option.unassessed),
    )
