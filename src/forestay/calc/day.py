"""The calculation of a theatre day: order, times, shared kit, clashes."""

from __future__ import annotations

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.day_kit import kit_clashes, kit_of
from forestay.calc.day_order import Placed, Reusable, Slot, arrange
from forestay.calc.day_records import (
    Clash,
    DayCase,
    Present,
    Row,
    TheatreDay,
    TheatreDayInput,
    There,
    clock_of,
    minutes_of,
)
from forestay.calc.duration import TENTH, Minutes, minutes_row, operating_time
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.text import tr

BLOCKS = ("sub-tenon", "peribulbar", "retrobulbar")
"""Anaesthetics that are given while the eye before is operated on, so that they work when the knife comes."""


@calculation(
    "theatre-day",
    summary="Order, times, kit and clashes of a theatre list, hardest early",
    formula="hardest that can start now; times add log-normally: means and variances add",
    valid="One theatre, one surgeon, operations one after another; times independent",
    input=TheatreDayInput,
    output=TheatreDay,
    example={
        "start": "08:30",
        "end": "12:30",
        "cases": [
            {
                "name": "A",
                "mean_minutes": 20,
                "sd_minutes": 6,
                "difficulty": 0.03,
                "needs": [{"thing": "tension-ring", "size_mm": 11}],
            },
            {
                "name": "B",
                "mean_minutes": 35,
                "sd_minutes": 12,
                "difficulty": 0.12,
                "needs": [{"thing": "tension-ring", "size_mm": 11}],
            },
        ],
        "shelf": [{"thing": "tension-ring", "size_mm": 11, "count": 1}],
    },
)
def theatre_day(given: TheatreDayInput, use: Reader) -> tuple[TheatreDay, list[Doubt]]:
    """The list of the day."""
    names = [c.name for c in given.cases]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise InvalidInput(tr("Two cases are called {name}.", name=twice), field="cases", value=twice)
    between = minutes_row(use, "time.between")
    start = minutes_of(given.start)
    placed = arrange(
        [_slot(c) for c in given.cases],
        between=between.mean,
        reusable=_reusable(given.shelf or ()),
        anaesthetist=_window(given.anaesthetist, start),
    )
    rows, whole = _rows(placed, between, start, minutes_row(use, "time.block"))
    last = placed[-1]
    middle = start + last.start + last.slot.minutes.quantile(0)
    kit = kit_of(given, [p.slot.name for p in placed])
    clashes = [*kit_clashes(kit), *_waits(placed), *_anaesthetist_clashes(given, placed, start)]
    over = None
    if given.end is not None:
        room = minutes_of(given.end) - start
        over = whole.chance_over(float(room))
        if middle > start + room:
            clashes.append(
                Clash(
                    code="overrun",
                    cases=(rows[-1].name,),
                    says=tr(
                        "The list is too long: it ends about {finish}, theatre closes {end}. Move the last ones to "
                        "another day.",
                        finish=clock_of(middle),
                        end=given.end,
                    ),
                )
            )
    doubts = []
    if given.shelf is None:
        doubts.append(Doubt("shelf-unknown", tr("No shelf was given: shortages cannot be seen.")))
    return TheatreDay(
        rows=tuple(rows),
        kit=tuple(kit),
        clashes=tuple(clashes),
        finish_low=clock_of(start + whole.quantile(-TENTH)),
        finish=clock_of(start + whole.quantile(0)),
        finish_high=clock_of(start + whole.quantile(TENTH)),
        overrun_probability=over,
    ), doubts


def _slot(case: DayCase) -> Slot:
    return Slot(
        name=case.name,
        minutes=Minutes(case.mean_minutes, case.sd_minutes),
        difficulty=case.difficulty,
        anaesthetic=case.anaesthetic,
        latex_allergy=case.latex_allergy,
        infected=case.infected,
        things=tuple(n.thing for n in case.needs if not n.standby),
    )


def _reusable(shelf: tuple[There, ...]) -> dict[str, Reusable]:
    found: dict[str, Reusable] = {}
    for item in shelf:
        if item.reusable:
            before = found.get(item.thing, Reusable(0, 0.0))
            found[item.thing] = Reusable(
                before.count + item.count, max(before.ready_again, item.ready_again_minutes or 0.0)
            )
    return found


def _window(present: Present | None, start: int) -> tuple[float, float] | None:
    if present is None:
        return None
    return float(minutes_of(present.since) - start), float(minutes_of(present.until) - start)


def _rows(placed: list[Placed], between: Minutes, start: int, block: Minutes) -> tuple[list[Row], Minutes]:
    """Rows with early and late starts, and the time until the last one ends."""
    rows, sofar = [], Minutes(0.0, 0.0)
    for number, place in enumerate(placed, start=1):
        m = place.slot.minutes
        sofar = sofar.plus(Minutes(place.waits, 0.0))
        rows.append(
            Row(
                position=number,
                name=place.slot.name,
                start=clock_of(start + place.start),
                start_late=clock_of(start + max(place.start, sofar.quantile(TENTH))),
                block_by=clock_of(start + place.start - block.quantile(TENTH))
                if place.slot.anaesthetic in BLOCKS
                else None,
                low_minutes=m.quantile(-TENTH),
                median_minutes=m.quantile(0),
                high_minutes=m.quantile(TENTH),
                why=place.why,
                waits_minutes=place.waits,
                waits_for=place.waits_for,
            )
        )
        sofar = sofar.plus(m)
        if number < len(placed):
            sofar = sofar.plus(between)
    return rows, sofar


def _waits(placed: list[Placed]) -> list[Clash]:
    return [
        Clash(
            code="wait",
            cases=(p.slot.name,),
            says=tr(
                "Theatre waits {min:.0f} minutes before {name}, for {what}.",
                min=p.waits,
                name=p.slot.name,
                what=p.waits_for,
            ),
        )
        for p in placed
        if p.waits > 0
    ]


def _anaesthetist_clashes(given: TheatreDayInput, placed: list[Placed], start: int) -> list[Clash]:
    window = _window(given.anaesthetist, start)
    if window is None:
        return []
    return [
        Clash(
            code="anaesthetist",
            cases=(p.slot.name,),
            says=tr(
                "{name} needs the anaesthetist, who is there until {until}; it would end about {end}.",
                name=p.slot.name,
                until=given.anaesthetist.until if given.anaesthetist else "",
                end=clock_of(start + p.start + p.slot.minutes.quantile(0)),
            ),
        )
        for p in placed
        if p.slot.needs_anaesthetist and p.start + p.slot.minutes.quantile(0) > window[1]
    ]


CALCULATIONS = (operating_time, theatre_day)
