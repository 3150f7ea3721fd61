"""A file in: which column is which field, what each row would do, what was kept."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.exchange.table_file import ENCODINGS
from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class ColumnLine:
    """One column of the table, with what it is mapped to."""

    number: int = field(metadata=told("place of the column, counted from 0"))
    heading: str = field(metadata=told("its heading"))
    examples: str = field(metadata=told("its first values"))
    role: str = field(metadata=told("case, date, a field of the case file, or empty: not read"))
    unit: str = field(metadata=told("unit of its numbers, or empty"))
    words: str = field(metadata=told("what its words mean, as in OD = right, OS = left"))


@dataclass(frozen=True)
class RoleGroup:
    """What a column can be, of one section of the case file."""

    title: str = field(metadata=told("the section in words"))
    roles: tuple[tuple[str, str], ...] = field(metadata=told("value and words of each"))


@dataclass(frozen=True)
class RowLine:
    """One row of the table, with what it does."""

    line: int = field(metadata=told("line of the file"))
    case: str = field(metadata=told("case that it is about"))
    state: str = field(metadata=told("new, added, unchanged or refused, in words"))
    says: str = field(metadata=told("values as understood, or what is wrong"))
    wrong: bool = field(metadata=told("True where the row cannot be read"))


@dataclass(frozen=True)
class ImportView(View):
    """The page that takes a file."""

    name: str = field(default="", metadata=told("name of the table, or empty before one is chosen"))
    data: str = field(default="", metadata=told("the table itself, base64, or empty"))
    columns: tuple[ColumnLine, ...] = field(default=(), metadata=told("its columns"))
    roles: tuple[RoleGroup, ...] = field(default=(), metadata=told("what a column can be, by section"))
    units: tuple[str, ...] = field(default=(), metadata=told("units that numbers may be in"))
    decimal: str = field(default=".", metadata=told("sign before the decimals"))
    date_format: str = field(default="", metadata=told("how dates are written, or empty"))
    encoding: str = field(default="utf-8", metadata=told("encoding of the text"))
    encodings: tuple[str, ...] = field(default=ENCODINGS, metadata=told("encodings that are read"))
    rows: tuple[RowLine, ...] = field(default=(), metadata=told("what the rows would do, the refused ones first"))
    counts: str = field(default="", metadata=told("how many rows do what"))
    ready: bool = field(default=False, metadata=told("True where every row can be kept"))
    mapping: str = field(default="", metadata=told("the mapping as a file, to be kept for the next table; or empty"))
    failure: str = field(default="", metadata=told("what is wrong, or empty"))
    done: tuple[str, ...] = field(default=(), metadata=told("what was kept and what to know of it"))
    link: str = field(default="", metadata=told("address of the case that was kept, or empty"))
    caution: str = field(default="", metadata=told("the standing caution"))
