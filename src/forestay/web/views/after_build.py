"""From a case and its plan to the views of follow-up and note."""

from __future__ import annotations

from datetime import date, datetime
from typing import get_args
from uuid import uuid4

from forestay.case.bodies import Acuity
from forestay.case.vocabulary import things
from forestay.case.words import say
from forestay.draw.names import side_words
from forestay.eye.quantity import allowed, limit
from forestay.plan.followup import Advice, signs
from forestay.plan.model import Plan
from forestay.report.note import NotePaper
from forestay.services import followup, note
from forestay.services.actor import may
from forestay.services.cases import KeptCase
from forestay.services.notedraft import draft
from forestay.text import tr
from forestay.web.units import typed_range, unit_of
from forestay.web.views.after import AdviceRow, DueRow, FollowUpView, NoteView, VisitField, VisitRow
from forestay.web.views.case_build import band, case_label
from forestay.web.views.entry_words import option_words
from forestay.web.views.shell import shell

FIELDS = {
    "acuity_logmar": "visual_acuity_logmar",
    "pressure_mmhg": "pressure_mmhg",
    "refraction_d": "refraction_d",
    "cylinder_d": "magnitude_d",
    "cylinder_axis_deg": "axis_deg",
    "k1_d": "k1_d",
    "k1_axis_deg": "k1_axis_deg",
    "k2_d": "k2_d",
    "k2_axis_deg": "k2_axis_deg",
    "corneal_thickness_um": "corneal_thickness_um",
    "endothelial_count_per_mm2": "endothelial_count_per_mm2",
}
"""Number of a visit -> the row of its limits."""


def _labels() -> dict[str, str]:
    return {
        "acuity_logmar": tr("Acuity, measured"),
        "pressure_mmhg": tr("Pressure"),
        "refraction_d": tr("Refraction, spherical equivalent"),
        "cylinder_d": tr("Cylinder"),
        "cylinder_axis_deg": tr("Axis of the cylinder"),
        "k1_d": tr("K1"),
        "k1_axis_deg": tr("K1, meridian"),
        "k2_d": tr("K2"),
        "k2_axis_deg": tr("K2, meridian"),
        "corneal_thickness_um": tr("Corneal thickness"),
        "endothelial_count_per_mm2": tr("Endothelial count"),
    }


def _states() -> dict[str, str]:
    return {
        "seen": tr("seen"),
        "due": tr("due"),
        "late": tr("late"),
        "missed": tr("missed"),
        "coming": tr("to come"),
        "unknown": tr("counts from the operation"),
    }


def follow_up_view(
    opened: KeptCase,
    plan: Plan,
    now: datetime,
    *,
    form: dict[str, str] | None = None,
    failure: str = "",
    picked: tuple[str, ...] = (),
    wrong: dict[str, str] | None = None,
) -> FollowUpView:
    """The visits due and seen, and the form of the next one."""
    typed, faults = form or {}, wrong or {}
    day = followup.day_of(opened, now)
    expected = {e.key: e for e in followup.expected(opened, plan)}
    return FollowUpView(
        shell=shell(tr("Follow-up · {case}", case=case_label(opened.case_id))),
        case_id=opened.case_id,
        band=band(opened),
        day=typed.get("day", "" if day is None else str(day)),
        on=typed.get("on", ""),
        day_wrong=faults.get("day", "") or faults.get("on", ""),
        expected=tuple((e.says, e.source) for e in expected.values()),
        doubts=followup.doubts(opened, plan),
        due=tuple(_due(row) for row in followup.due(opened, plan, now.astimezone().date())),
        seen=tuple(
            VisitRow(say(v.body), tuple(_advice(a) for a in v.advice), str(v.fact), str(uuid4()))
            for v in (*reversed(followup.found_signs(opened)), *reversed(followup.visits(opened, plan)))
        ),
        fields=tuple(_field(name, expected, typed, faults) for name in FIELDS),
        acuity_types=tuple((word, things()[word]) for word in get_args(Acuity)),
        acuity_words=tuple((word, option_words("eye.visual_acuity", word)) for word in ("CF", "HM", "PL", "NPL")),
        signs=tuple((rule.key, tr(rule.say)) for rule in signs().values()),
        picked=(*picked, typed.get("acuity", ""), typed.get("acuity_type", "")),
        outcome=followup.outcome_words(followup.outcome(opened, plan)),
        warnings=plan.after.warnings,
        failure=failure,
        head=opened.head,
        key=typed.get("key") or str(uuid4()),
        caution=plan.caution,
    )


def _due(row: followup.Due) -> DueRow:
    dates = f"{_day(row.first)} – {_day(row.last)}" if row.first and row.last else ""
    if row.first == row.last and row.first:
        dates = _day(row.first)
    return DueRow(row.when, dates, _states()[row.state], row.state == "late", row.check, row.act_on)


def _day(day: date) -> str:
    return day.strftime("%d %b %Y")


def _advice(one: Advice) -> AdviceRow:
    return AdviceRow(one.says, one.do, "; ".join(one.sources))


def _field(
    name: str, expected: dict[str, followup.Expected], typed: dict[str, str], faults: dict[str, str]
) -> VisitField:
    row, words, other = limit(FIELDS[name]), allowed(FIELDS[name]), unit_of(name)
    words = words if other is None else f"{typed_range(name, other)} ({words})"
    told = expected.get(name)
    help_words = tr("expected: {what}; possible: {words}", what=told.says, words=words) if told is not None else words
    unit = tr(row.unit) if other is None else other.name
    return VisitField(
        name,
        _labels()[name],
        unit,
        help_words,
        typed.get(name, ""),
        faults.get(name, ""),
        typed_unit="" if other is None else other.name,
    )


def note_view(
    opened: KeptCase,
    plan: Plan,
    *,
    failure: str = "",
    typed: str | None = None,
    added: str = "",
    key: str | None = None,
) -> NoteView:
    """The note: kept, or drafted from the facts."""
    state = note.note_state(opened)
    kept = state.text if state.text is not None else draft(opened, plan)
    text = typed if typed is not None else kept
    other = typed is not None and state.text is not None and text.replace("\r\n", "\n").strip() != state.text
    return NoteView(
        shell=shell(tr("Operation note · {case}", case=case_label(opened.case_id))),
        case_id=opened.case_id,
        band=band(opened),
        text=text,
        lines=tuple(text.split("\n")),
        kept=tr("{when} by {who}", when=_moment(state.kept_at), who=state.kept_by) if state.kept_at else "",
        signed=signed_words(state),
        beside=_beside(state),
        may_sign=may("sign"),
        other=tuple(kept.split("\n")) if other else (),
        added=added,
        additions=tuple((_addition(n, a), a.text) for n, a in enumerate(state.additions, start=1)),
        failure=failure,
        head=opened.head,
        key=key or str(uuid4()),
        caution=plan.caution,
    )


def _beside(state: note.NoteState) -> tuple[str, ...]:
    told = []
    if state.taken_back:
        told.append(
            tr("The signature was taken back later; the signed text stands, and the record says by whom and why.")
        )
    if state.past:
        told.append(tr("Texts kept past the signature: {n}. They are no part of the note.", n=state.past))
    return tuple(told)


def signed_words(state: note.NoteState) -> str:
    """Who signed, when, and the head of the chain that it names."""
    if state.signed_at is None:
        return ""
    return tr(
        "Signed by {who}, {when}; record {head}",
        who=state.signed_by,
        when=_moment(state.signed_at),
        head=state.head[:12],
    )


def _addition(n: int, addition: note.Addition) -> str:
    return tr("Addition {n}, {who}, {when}", n=n, who=addition.by, when=_moment(addition.at))


def _moment(moment: datetime | None) -> str:
    return moment.astimezone().strftime("%Y-%m-%d %H:%M") if moment else ""


def note_paper(opened: KeptCase, plan: Plan) -> NotePaper:
    """The note for paper; an unsigned one says so."""
    view = note_view(opened, plan)
    unsigned = (
        tr("Not signed. Kept {when}.", when=view.kept)
        if view.kept
        else tr("Not signed. A draft from the facts; read and correct it.")
    )
    return NotePaper(
        side=side_words(opened.situation.case.eye.side),
        case=case_label(opened.case_id),
        about=" · ".join(word for word in (view.band.person, view.band.about) if word),
        text=view.text,
        signed=view.signed or unsigned,
        beside=view.beside,
        additions=view.additions,
        caution=plan.caution,
    )
