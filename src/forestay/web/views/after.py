"""Follow-up and the operation note."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.case import Band
from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class DueRow:
    """A visit of the plan."""

    when: str = field(metadata=told("when, in the plan's words"))
    dates: str = field(metadata=told("from which day to which; empty where not known"))
    state: str = field(metadata=told("seen, due, late or coming, in words"))
    late: bool = field(metadata=told("True where it is late"))
    check: str = field(metadata=told("what to look at"))
    act_on: str = field(metadata=told("what to act on"))


@dataclass(frozen=True)
class AdviceRow:
    """What to do on something that a visit showed."""

    says: str = field(metadata=told("what was out of the ordinary; empty where the visit's words say it"))
    do: str = field(metadata=told("what to do"))
    source: str = field(metadata=told("whose word that is"))


@dataclass(frozen=True)
class VisitRow:
    """A visit that was kept."""

    words: str = field(metadata=told("what was found, in words"))
    warnings: tuple[AdviceRow, ...] = field(metadata=told("what to do on it"))
    fact_id: str = field(metadata=told("the fact"))
    key: str = field(metadata=told("identity of taking it back"))


@dataclass(frozen=True)
class VisitField:
    """One field of the form of a visit."""

    name: str = field(metadata=told("name, as the fact has it"))
    label: str = field(metadata=told("what it is"))
    unit: str = field(metadata=told("unit beside it"))
    help: str = field(metadata=told("what is expected, and what it may be"))
    value: str = field(metadata=told("as typed"))
    wrong: str = field(metadata=told("what is wrong with it; empty where nothing is"))
    typed_unit: str = field(default="", metadata=told("the unit, where it is another than the one that is kept"))


@dataclass(frozen=True)
class FollowUpView(View):
    """The visits after surgery."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    day: str = field(metadata=told("days since the operation; empty where it is not kept"))
    on: str = field(metadata=told("date of the visit as typed"))
    day_wrong: str = field(metadata=told("what is wrong with the day or the date; empty where nothing is"))
    expected: tuple[tuple[str, str], ...] = field(metadata=told("what is expected at a visit, with its source"))
    doubts: tuple[str, ...] = field(metadata=told("what of that was recalled or assumed"))
    due: tuple[DueRow, ...] = field(metadata=told("the visits of the plan"))
    seen: tuple[VisitRow, ...] = field(metadata=told("the visits that were kept"))
    fields: tuple[VisitField, ...] = field(metadata=told("fields of the form"))
    acuity_types: tuple[tuple[str, str], ...] = field(metadata=told("how acuity was taken"))
    acuity_words: tuple[tuple[str, str], ...] = field(metadata=told("acuity below the chart"))
    signs: tuple[tuple[str, str], ...] = field(metadata=told("what may be ticked"))
    picked: tuple[str, ...] = field(metadata=told("what was picked or ticked in a form that failed"))
    outcome: str = field(metadata=told("refraction against the plan; empty where not measured"))
    warnings: tuple[str, ...] = field(metadata=told("what the patient is told"))
    failure: str = field(metadata=told("what is wrong; empty where nothing is"))
    head: int = field(metadata=told("the facts that this page has seen"))
    key: str = field(metadata=told("identity of the visit that the form would keep"))
    caution: str = field(metadata=told("the standing caution"))


@dataclass(frozen=True)
class NoteView(View):
    """The operation note."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    text: str = field(metadata=told("the text: kept, or drafted from the facts"))
    lines: tuple[str, ...] = field(metadata=told("the same by line"))
    kept: str = field(metadata=told("when the text was kept; empty for a draft"))
    signed: str = field(metadata=told("who signed and when; empty before"))
    beside: tuple[str, ...] = field(
        metadata=told("what else is kept about the note: a signature taken back, later texts")
    )
    may_sign: bool = field(metadata=told("whether whoever looks may sign it"))
    other: tuple[str, ...] = field(metadata=told("the kept text by line, where another one was typed"))
    added: str = field(metadata=told("an addition as typed in a form that failed"))
    additions: tuple[tuple[str, str], ...] = field(metadata=told("heading and text of each addition"))
    failure: str = field(metadata=told("what is wrong; empty where nothing is"))
    head: int = field(metadata=told("the facts that this page has seen"))
    key: str = field(metadata=told("identity of what a press would keep"))
    caution: str = field(metadata=told("the standing caution"))
