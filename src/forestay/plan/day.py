"""A theatre day from many plans: order and times, kit of the whole day against the shelf, what is left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from forestay.answer import Doubt, unique
from forestay.calc.day import theatre_day
from forestay.calc.day_records import DayCase, Need, Present, TheatreDay, TheatreDayInput, There, thing_words
from forestay.calc.duration import operating_time
from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.plan.device_shelf import DeviceShelf
from forestay.plan.dominance import time_asked
from forestay.plan.model import Option, Plan
from forestay.plan.risks import told_first
from forestay.plan.words import ANAESTHETICS
from forestay.text import tr

__all__ = ["DayEntry", "DayHours", "DayLine", "DayList", "LeftOut", "day_list", "thing_words", "trouble_chance"]

LATEX = "latex"


@dataclass(frozen=True)
class DayEntry:
    """One eye that somebody put on the list: what it is called here, what is known, its plan."""

    name: str
    case: CaseFile
    plan: Plan


@dataclass(frozen=True)
class DayLine:
    """What stands beside an operation of the list, in words."""

    name: str
    side: str
    technique: str
    anaesthetic: str
    lens: str
    ready: tuple[str, ...]
    trouble: str


@dataclass(frozen=True)
class LeftOut:
    """An eye that its plan keeps off the list, with the first line of that plan."""

    name: str
    why: str


@dataclass(frozen=True)
class DayList:
    """The list of one theatre day. ``day`` is None where nothing can be done."""

    day: TheatreDay | None
    lines: dict[str, DayLine]
    left_out: tuple[LeftOut, ...]
    doubts: tuple[Doubt, ...]
    sources: tuple[dict[str, object], ...]
    on: date | None
    start: str
    end: str | None


@dataclass(frozen=True)
class DayHours:
    """When theatre is open, and when the anaesthetist is there (None: all day)."""

    start: str = "08:30"
    end: str | None = None
    anaesthetist: Present | None = None


def day_list(
    entries: Sequence[DayEntry], *, hours: DayHours, shelf: DeviceShelf | None, on: date | None, use: Reader
) -> DayList:
    """The list of the day; eyes that their plan keeps away stand apart with the reason."""
    doing = [e for e in entries if e.plan.decision.decision == "operate" and e.plan.measures is not None]
    left = tuple(LeftOut(e.name, e.plan.decision.sentence) for e in entries if e not in doing)
    day: TheatreDay | None = None
    doubts: list[Doubt] = []
    if doing:
        cases = tuple(_case(e, use) for e in doing)
        given = TheatreDayInput(
            start=hours.start,
            end=hours.end,
            cases=cases,
            shelf=None if shelf is None else _there(shelf, on),
            anaesthetist=hours.anaesthetist,
        )
        day, doubts = theatre_day.function(given, use)
    if shelf is not None and on is None:
        doubts.append(Doubt("no-day", tr("No day was given: expiry was not checked.")))
    return DayList(
        day=day,
        lines={e.name: _line(e) for e in doing},
        left_out=left,
        doubts=unique([*doubts, *use.doubts()]),
        sources=tuple(use.sources()),
        on=on,
        start=hours.start,
        end=hours.end,
    )


def _chosen(plan: Plan) -> Option | None:
    return next((o for o in plan.options if o.technique == plan.chosen.technique), None)


def trouble_chance(plan: Plan) -> float:
    """Probability of capsule rupture or vitreous loss by the model, which all eyes share: 0 where none is worked out."""
    option = _chosen(plan)
    found = next((r for r in option.risks if r.name == "capsule-rupture"), None) if option else None
    return 0.0 if found is None else found.probability


def _case(entry: DayEntry, use: Reader) -> DayCase:
    measures, case = entry.plan.measures, entry.case
    assert measures is not None  # noqa: S101 - only eyes with a plan come here
    trouble = trouble_chance(entry.plan)
    time, _ = operating_time.function(
        time_asked(measures, case).model_copy(update={"trouble_probability": trouble}),
        use,
    )
    return DayCase(
        name=entry.name,
        mean_minutes=time.mean_minutes,
        sd_minutes=time.sd_minutes,
        difficulty=trouble,
        anaesthetic=measures.anaesthetic,  # type: ignore[arg-type]
        latex_allergy=LATEX in (case.person.allergies or ()),
        infected=bool(case.signs.external_infection),
        needs=_needs(entry.plan),
    )


def _needs(plan: Plan) -> tuple[Need, ...]:
    kit = [
        Need(thing=i.thing, count=i.count, size_mm=i.size_mm, standby=i.standby)
        for i in plan.kit["items"]
        if i.thing is not None
    ]
    have = {n.thing for n in kit}
    drugs: dict[str, bool] = {}
    for dose in plan.doses:
        if dose.thing is not None and dose.thing not in have:
            drugs[dose.thing] = drugs.get(dose.thing, True) and dose.standby
    return (*kit, *(Need(thing=thing, standby=standby) for thing, standby in drugs.items()))


def _there(shelf: DeviceShelf, on: date | None) -> tuple[There, ...]:
    """The shelf without what has expired on the day."""
    return tuple(
        There(
            thing=i.thing,
            count=i.count,
            size_mm=i.size_mm,
            reusable=i.reusable,
            ready_again_minutes=i.ready_again_minutes,
        )
        for i in shelf.item
        if on is None or i.expires is None or i.expires >= on
    )


def _line(entry: DayEntry) -> DayLine:
    plan, option = entry.plan, _chosen(entry.plan)
    measures = plan.measures
    risk = told_first(option.risks) if option else None
    position = next((p for p in plan.lens.positions if measures and p.position == measures.lens_position), None)
    power = tr("not worked out") if position is None or position.power_d is None else f"{position.power_d:+.1f} D"
    return DayLine(
        name=entry.name,
        side=tr("right eye") if entry.case.eye.side == "right" else tr("left eye"),
        technique=option.label if option else tr("not settled"),
        anaesthetic=tr(ANAESTHETICS[measures.anaesthetic])
        if measures and measures.anaesthetic
        else tr("anaesthetic not settled"),
        lens=tr("{power}, {place}", power=power, place=tr(measures.lens_position.replace("-", " ")))
        if measures
        else "",
        ready=tuple(i.ready for i in plan.kit["items"] if i.ready),
        trouble=""
        if risk is None
        else tr(
            "{label} {p:.1%} ({low:.1%} to {high:.1%})",
            label=risk.label,
            p=risk.probability,
            low=risk.low,
            high=risk.high,
        ),
    )
