"""Records of a theatre day, and its clock."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import Field, field_validator

from forestay.errors import InvalidInput
from forestay.eye.quantity import within
from forestay.eye.records import Anaesthetic
from forestay.record import Record
from forestay.text import mark, tr

MINUTES_IN_HOUR = 60
PLAIN_NAMES = {"ovd": mark("OVD"), "nylon-10-0": mark("10-0 nylon"), "latex-free-set": mark("set free of latex")}
_CLOCK = re.compile(r"^([01]?\d|2[0-3]):([0-5]\d)$")
Clock = Annotated[str, Field(description="time of day, HH:MM")]


def minutes_of(clock: str) -> int:
    """Minutes after midnight.

    >>> minutes_of("08:30")
    510
    """
    match = _CLOCK.match(clock)
    if match is None:
        raise InvalidInput(
            tr("{value} is not a time of day; write HH:MM.", value=clock), field="time", value=clock, allowed="HH:MM"
        )
    return int(match[1]) * MINUTES_IN_HOUR + int(match[2])


def clock_of(minutes: float) -> str:
    """A time of day, on the next day after midnight too.

    >>> clock_of(510.4), clock_of(1450)
    ('08:30', '00:10')
    """
    whole = round(minutes) % (24 * MINUTES_IN_HOUR)
    return f"{whole // MINUTES_IN_HOUR:02d}:{whole % MINUTES_IN_HOUR:02d}"


def thing_words(thing: str, size_mm: float | None = None) -> str:
    """A thing in plain words, with its size.

    >>> thing_words("tension-ring", 11), thing_words("nylon-10-0")
    ('tension ring 11 mm', '10-0 nylon')
    """
    name = tr(
        PLAIN_NAMES.get(thing, thing.replace("-", " ", 1) if thing.startswith("tray-") else thing.replace("-", " "))
    )
    return name if size_mm is None else f"{name} {size_mm:g} mm"


class _Timed(Record):
    @field_validator("start", "end", "since", "until", check_fields=False)
    @classmethod
    def _is_clock(cls, value: str | None) -> str | None:
        if value is not None and not _CLOCK.match(value):
            raise ValueError(tr("a time of day is written HH:MM"))
        return value


class Need(Record):
    """A thing that one operation needs."""

    thing: str = Field(min_length=1, max_length=60, description="what it is")
    count: int = Field(default=1, ge=1, description="how many")
    size_mm: Annotated[float, within("shelf_size_mm")] | None = None
    standby: bool = Field(default=False, description="lies ready and stays closed: one may serve the whole list")


class DayCase(Record):
    """One operation of the day."""

    name: str = Field(min_length=1, max_length=80, description="name of the case, never of the patient")
    mean_minutes: Annotated[float, within("minutes")]
    sd_minutes: Annotated[float, within("minutes_sd")]
    difficulty: Annotated[float, within("chance")]
    anaesthetic: Anaesthetic | None = Field(default=None, description="anaesthetic; general needs the anaesthetist")
    latex_allergy: bool = Field(default=False, description="latex allergy: comes first")
    infected: bool = Field(default=False, description="infection: comes last")
    needs: tuple[Need, ...] = Field(default=(), max_length=100, strict=False, description="kit that it needs")


class There(Record):
    """What there is of one thing."""

    thing: str = Field(min_length=1, max_length=60, description="what it is")
    count: int = Field(ge=0, description="how many may be used on the day")
    size_mm: Annotated[float, within("shelf_size_mm")] | None = None
    reusable: bool = Field(default=False, description="comes back after cleaning")
    ready_again_minutes: Annotated[float, within("ready_again_minutes")] | None = None


class Present(_Timed):
    """From when to when somebody is there."""

    since: Clock
    until: Clock


class TheatreDayInput(_Timed):
    """The operations of a day, when theatre is open, who is there, what there is."""

    start: Clock = "08:30"
    end: Clock | None = None
    cases: tuple[DayCase, ...] = Field(
        min_length=1, max_length=200, strict=False, description="operations, in any order"
    )
    shelf: tuple[There, ...] | None = Field(
        default=None, max_length=2000, strict=False, description="what there is; absent: not known, nothing is missed"
    )
    anaesthetist: Present | None = Field(default=None, description="when the anaesthetist is there; absent: all day")


class Row(Record):
    """One operation in its place."""

    position: int = Field(description="place in the list")
    name: str = Field(description="name of the case")
    start: str = Field(description="planned start, at median times")
    start_late: str = Field(description="one day in ten it starts later than this")
    block_by: str | None = Field(description="when the block is given at the latest; null without a block")
    low_minutes: float = Field(description="one in ten is quicker")
    median_minutes: float = Field(description="half are quicker")
    high_minutes: float = Field(description="one in ten is slower")
    why: str = Field(description="why it stands here")
    waits_minutes: float = Field(description="theatre waits so long before it")
    waits_for: str = Field(description="what for")


class KitLine(Record):
    """One thing over the whole day."""

    thing: str = Field(description="what it is")
    size_mm: float | None = Field(description="size, where it comes in sizes")
    needed: int = Field(description="how many the day needs")
    there: int | None = Field(description="how many there are; null where the shelf is not known")
    cases: tuple[str, ...] = Field(description="which operations need it, in order")
    standby: bool = Field(description="lies ready and stays closed")
    without: tuple[str, ...] = Field(description="operations that go without, where there are too few")


class Clash(Record):
    """Two wishes that cannot both be met."""

    code: str = Field(description="kit, wait, anaesthetist or overrun")
    cases: tuple[str, ...] = Field(description="operations that it concerns")
    says: str = Field(description="what clashes and what would settle it")


class TheatreDay(Record):
    """The list of the day."""

    rows: tuple[Row, ...] = Field(description="operations in order")
    kit: tuple[KitLine, ...] = Field(description="kit of the whole day")
    clashes: tuple[Clash, ...] = Field(description="what does not go together")
    finish_low: str = Field(description="one day in ten ends before this")
    finish: str = Field(description="half of such days end before this")
    finish_high: str = Field(description="one day in ten ends after this")
    overrun_probability: float | None = Field(description="probability of ending after `end`; null without one")
