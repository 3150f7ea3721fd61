"""A theatre day, a day of many eyes, and the patient's sheet on the screen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class DayChoice:
    """A kept case that may go on the list."""

    case_id: str = field(metadata=told("identity of the case"))
    label: str = field(metadata=told("name of the case and side of the eye"))
    chosen: bool = field(metadata=told("True where it is on the list"))


@dataclass(frozen=True)
class DayView(View):
    """The list of one theatre day."""

    choices: tuple[DayChoice, ...] = field(metadata=told("kept cases, in order of arrival"))
    on: str = field(metadata=told("day of the list"))
    start: str = field(metadata=told("first operation"))
    end: str = field(metadata=told("when theatre closes, or empty"))
    shelf: str = field(metadata=told("which shelf the kit is held against"))
    listed: dict[str, Any] | None = field(metadata=told("rows, kit and clashes in words; None before a case is chosen"))
    paper: str = field(metadata=told("address of the list for paper, or empty"))
    caution: str = field(metadata=told("the standing caution"))


@dataclass(frozen=True)
class SortLine:
    """One sorted eye."""

    eye: str = field(metadata=told("number and side"))
    group: str = field(metadata=told("where it goes, in words"))
    why: str = field(metadata=told("reasons"))
    tray: str = field(metadata=told("tray, what is added to it, lots"))
    lens: str = field(metadata=told("lens and how far off it may be"))
    asked: str = field(metadata=told("signs that were not looked at"))


@dataclass(frozen=True)
class SortView(View):
    """A day of many eyes."""

    given: str = field(metadata=told("the table as it was given"))
    trays: str = field(metadata=told("numbers of the trays as given"))
    vitrector: str = field(metadata=told("yes, no or empty"))
    failure: str = field(metadata=told("what is wrong with the table, or empty"))
    counts: tuple[tuple[str, int], ...] = field(metadata=told("how many eyes in each group"))
    lines: tuple[SortLine, ...] = field(metadata=told("the eyes, group by group"))
    order: str = field(metadata=told("order of operating"))
    trace: tuple[str, ...] = field(metadata=told("lots and trays with their eyes"))
    doubts: tuple[str, ...] = field(metadata=told("what the sort does not know"))
    columns: str = field(metadata=told("the columns that a table may have"))
    caution: str = field(metadata=told("the standing caution"))


@dataclass(frozen=True)
class ConsentView(View):
    """The patient's sheet."""

    case_id: str = field(metadata=told("identity of the case"))
    invented: bool = field(metadata=told("True of an invented case"))
    sheet: dict[str, Any] = field(metadata=told("the words of the sheet"))
    icons: tuple[Markup, ...] = field(metadata=told("one picture for each figure"))
    caution: str = field(metadata=told("the standing caution"))
