"""The calculation ``two-rates``: two proportions side by side, with the number needed."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.record import Record
from forestay.statistics import two_rates as engine
from forestay.text import tr

FEW = 5
"""Events in a group below which the interval of the ratio is rough."""
Count = Annotated[int, Field(ge=0)]


class TwoRatesInput(Record):
    """Events of operations in two groups."""

    first_events: Count = Field(description="events in the first group")
    first_n: Annotated[int, Field(ge=1)] = Field(description="operations in the first group")
    second_events: Count = Field(description="events in the second group")
    second_n: Annotated[int, Field(ge=1)] = Field(description="operations in the second group")
    level: Annotated[float, within("level")] | None = None


class TwoRatesOutput(Record):
    """The rates and what separates them."""

    first: float = Field(description="rate of the first group, share")
    second: float = Field(description="rate of the second group, share")
    difference: float = Field(description="first less second, share")
    difference_low: float = Field(description="lower end of the difference")
    difference_high: float = Field(description="upper end of the difference")
    ratio: float | None = Field(description="first over second; null where a group has no event")
    ratio_low: float | None = Field(description="lower end of the ratio")
    ratio_high: float | None = Field(description="upper end of the ratio")
    needed: float | None = Field(description="operations for one event more or less; null where the rates are equal")
    needed_low: float | None = Field(description="fewest operations that the interval allows")
    needed_high: float | None = Field(description="most operations; null where the difference may be none")


@calculation(
    "two-rates",
    summary="Two rates side by side: difference, ratio and number needed, each with its interval",
    formula="p1 - p2 with Newcombe's score interval; p1 / p2 on the log scale; 1 / |p1 - p2|",
    valid="independent groups; says nothing of why they differ",
    input=TwoRatesInput,
    output=TwoRatesOutput,
    example={"first_events": 30, "first_n": 37777, "second_events": 6, "second_n": 38160},
)
def two_rates(given: TwoRatesInput, use: Reader) -> tuple[TwoRatesOutput, list[Doubt]]:
    """The comparison of two counts."""
    level = given.level if given.level is not None else use.number("audit.usual_level")
    for name, events, n in (
        ("first_events", given.first_events, given.first_n),
        ("second_events", given.second_events, given.second_n),
    ):
        if events > n:
            words = tr("at most the operations of the group, {n}", n=n)
            raise InvalidInput(
                tr("{name} is {value}; allowed: {words}.", name=name, value=events, words=words),
                field=name,
                value=events,
                allowed=words,
            )
    found = engine.two_rates(
        events=(given.first_events, given.second_events), n=(given.first_n, given.second_n), level=level
    )
    doubts = []
    if min(given.first_events, given.second_events) < FEW:
        doubts.append(
            Doubt("few-events", tr("A group has fewer than {n} events: the ratio's interval is rough.", n=FEW))
        )
    if found.needed is not None and found.needed_to is None:
        doubts.append(Doubt("may-not-differ", tr("The difference may be none: the number needed has no upper end.")))
    ratio, low, high = found.ratio or (None, None, None)
    return TwoRatesOutput(
        first=found.first,
        second=found.second,
        difference=found.difference,
        difference_low=found.difference_low,
        difference_high=found.difference_high,
        ratio=ratio,
        ratio_low=low,
        ratio_high=high,
        needed=found.needed,
        needed_low=found.needed_from,
        needed_high=found.needed_to,
    ), doubts


CALCULATIONS = (two_rates,)
