"""The page of what many cases teach."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class Table:
    """A small table: its heading row and its rows, all in words."""

    head: tuple[str, ...] = field(metadata=told("heading of each column"))
    rows: tuple[tuple[str, ...], ...] = field(metadata=told("rows, as many cells as the heading"))


@dataclass(frozen=True)
class Block:
    """One subject: a sentence, perhaps a drawing, always its table."""

    key: str = field(metadata=told("identity of the block on the page"))
    title: str = field(metadata=told("what it is about"))
    says: str = field(metadata=told("what it means, and what it does not"))
    drawing: Markup = field(metadata=told("drawing as SVG markup; empty where there is none"))
    table: Table = field(metadata=told("the same in figures"))


@dataclass(frozen=True)
class SignalLine:
    """A signal that stops a list."""

    says: str = field(metadata=told("what was seen"))
    do: str = field(metadata=told("what to do"))
    false_alarm: str = field(metadata=told("how often the rule speaks although nothing is wrong"))
    cases: tuple[str, ...] = field(metadata=told("the cases that it is about"))


@dataclass(frozen=True)
class Chooser:
    """One thing that the cases can be chosen by."""

    name: str = field(metadata=told("name in the address"))
    words: str = field(metadata=told("label"))
    value: str = field(metadata=told("what is chosen; empty for all"))
    options: tuple[str, ...] = field(metadata=told("what there is to choose; empty for a day"))


@dataclass(frozen=True)
class ReviewView(View):
    """What the cases of a selection teach."""

    says: tuple[str, ...] = field(metadata=told("number of cases, follow-up, warnings"))
    withheld: str = field(metadata=told("why figures are not shown; empty where they are"))
    signals: tuple[SignalLine, ...] = field(metadata=told("signals that stop a list"))
    choosers: tuple[Chooser, ...] = field(metadata=told("period, surgeon, technique, lens"))
    invented: bool = field(metadata=told("True where an invented practice is looked at"))
    blocks: tuple[Block, ...] = field(metadata=told("the subjects"))
    export: str = field(metadata=told("address of the same tables as a file"))
    sources: tuple[str, ...] = field(metadata=told("where settings and comparisons come from"))
    doubts: tuple[str, ...] = field(metadata=told("what rests on memory or choice"))
    peers: str = field(metadata=told("table of peers as it was typed, or its head"))
    problem: str = field(metadata=told("what was wrong with the selection; empty if nothing"))
    caution: str = field(metadata=told("the standing caution"))
