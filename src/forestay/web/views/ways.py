"""Ways to do an eye side by side: what each comes to, who beats whom, and what excludes one another."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.plan.model import Conflict, Origin
from forestay.web.views.shell import told


@dataclass(frozen=True)
class Cell:
    """One option by one measure."""

    id: str = field(metadata=told("identity of what opens, unique on the page"))
    shown: str = field(metadata=told("value with its unit, or that it is not known"))
    spread: str = field(metadata=told("its central 90 % with the unit; empty where there is none"))
    origin: Origin | None = field(metadata=told("what stands behind the value; None where it is only counted"))


@dataclass(frozen=True)
class MeasureRow:
    """One measure over all options."""

    label: str = field(metadata=told("what is measured, and which way is better"))
    counts: bool = field(metadata=told("whether it is held for or against an option"))
    cells: tuple[Cell, ...] = field(metadata=told("one for each option, in the order of the heading"))


@dataclass(frozen=True)
class WayHead:
    """One option at the head of its column."""

    label: str = field(metadata=told("name in words"))
    note: str = field(metadata=told("chosen, beaten or not available; empty where none of these"))
    lacks: str = field(
        metadata=told("what it needs and this theatre does not have, in words, or that it is not known; empty: nothing")
    )


@dataclass(frozen=True)
class SmallRow:
    """One anaesthetic or one place of the incision."""

    label: str = field(metadata=told("name in words"))
    state: str = field(metadata=told("chosen, possible, avoided or not here, in words"))
    chosen: bool = field(metadata=told("True for the chosen one"))
    why: str = field(metadata=told("the reasons; empty where none is given"))
    cells: tuple[tuple[str, Cell], ...] = field(metadata=told("measure in words and its value"))


@dataclass(frozen=True)
class SmallTable:
    """A smaller choice beside the technique."""

    key: str = field(metadata=told("identity of the table on the page"))
    title: str = field(metadata=told("what is chosen"))
    rows: tuple[SmallRow, ...] = field(metadata=told("the ways to do it"))


@dataclass(frozen=True)
class Ways:
    """The comparison without weights."""

    heads: tuple[WayHead, ...] = field(metadata=told("the options that were worked out, best first"))
    rows: tuple[MeasureRow, ...] = field(metadata=told("the measures"))
    says: tuple[str, ...] = field(metadata=told("who beats whom, or that none does"))
    elsewhere: tuple[str, ...] = field(metadata=told("options that were not worked out, each with why"))
    small: tuple[SmallTable, ...] = field(metadata=told("anaesthesia and incision"))
    conflicts: tuple[Conflict, ...] = field(
        metadata=told("what excludes one another in this eye, and how it is settled")
    )
