"""A table from a file: CSV, Excel or Parquet, told by its bytes. Headings and rows, and nothing of what they mean."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from forestay.errors import InvalidInput, UnreadableFile
from forestay.text import tr

MOST_ROWS = 100_000
MOST_COLUMNS = 300
LARGEST_UNPACKED = 256 * 1024 * 1024
LONGEST_CELL = 20_000
SEPARATORS = ",;\t|"
ENCODINGS = ("utf-8", "latin-1", "cp1252", "utf-16")


@dataclass(frozen=True, slots=True)
class Table:
    """Headings, and cells by row; ``numbers`` are the lines of the file that the rows stand on."""

    headings: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    numbers: tuple[int, ...]
    kind: str


def read_table(
    data: bytes, name: str, *, separator: str | None = None, encoding: str = "utf-8", sheet: str | None = None
) -> Table:
    """The table in ``data``. An empty row is passed over; a row may be longer than the headings."""
    if data[:4] == b"PK\x03\x04":
        kind, lines = "Excel", _excel(data, name, sheet)
    elif data[:4] == b"PAR1":
        kind, lines = "Parquet", _parquet(data, name)
    else:
        kind, lines = "CSV", _csv(data, name, separator, encoding)
    if not lines or not any(_filled(cell) for cell in lines[0][1]):
        raise UnreadableFile(tr("{name} has no line of headings.", name=name), allowed=tr("headings in the first line"))
    first = list(lines[0][1])
    while first and not _filled(first[-1]):
        first.pop()
    headings = tuple(" ".join(str(cell if _filled(cell) else "").split()) for cell in first)
    _check_headings(headings, name)
    rows, numbers = [], []
    for number, found in lines[1:]:
        cells = _without_empty_end(found, len(headings))
        if not any(_filled(cell) for cell in cells):
            continue
        rows.append((*cells, *([None] * (len(headings) - len(cells)))))
        numbers.append(number)
    return Table(headings, tuple(rows), tuple(numbers), kind)


def _without_empty_end(cells: tuple[Any, ...], shortest: int) -> tuple[Any, ...]:
    end = len(cells)
    while end > shortest and not _filled(cells[end - 1]):
        end -= 1
    return cells[:end]


def _filled(cell: Any) -> bool:
    return cell is not None and (not isinstance(cell, str) or bool(cell.strip()))


def _check_headings(headings: tuple[str, ...], name: str) -> None:
    twice = sorted({h for h in headings if headings.count(h) > 1})
    if "" in headings or twice or len(headings) > MOST_COLUMNS:
        what = tr("twice: {names}", names=", ".join(twice)[:200]) if twice else tr("empty, or too many")
        raise UnreadableFile(
            tr("The headings of {name} are {what}; each column needs one of its own.", name=name, what=what),
            field="headings",
            value=what,
            allowed=tr("1 to {n} different headings", n=MOST_COLUMNS),
        )


def _too_many(name: str) -> UnreadableFile:
    return UnreadableFile(
        tr("{name} has too many rows; import it in parts.", name=name),
        field="rows",
        allowed=tr("at most {n} rows", n=MOST_ROWS),
    )


def _csv(data: bytes, name: str, separator: str | None, encoding: str) -> list[tuple[int, tuple[Any, ...]]]:
    if encoding not in ENCODINGS:
        allowed = ", ".join(ENCODINGS)
        raise InvalidInput(
            tr("encoding is {value}; allowed: {allowed}.", value=encoding[:20], allowed=allowed),
            field="encoding",
            value=encoding[:20],
            allowed=allowed,
        )
    try:
        text = data.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeError:
        text = "\0"
    if "\0" in text:
        raise UnreadableFile(
            tr("{name} is not a table as text in {encoding}.", name=name, encoding=encoding),
            field="encoding",
            value=encoding,
            allowed=tr(
                "CSV in the encoding that the mapping names ({known}), Excel or Parquet", known=", ".join(ENCODINGS)
            ),
        )
    first = text.lstrip("\r\n").partition("\n")[0]
    used = separator or max(SEPARATORS, key=first.count)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=used, strict=True)
        lines: list[tuple[int, tuple[Any, ...]]] = []
        for cells in reader:
            if len(lines) > MOST_ROWS:
                raise _too_many(name)
            if cells:
                lines.append((reader.line_num, tuple(cells)))
    except csv.Error as wrong:
        raise UnreadableFile(
            tr("{name} cannot be read as CSV: {why}.", name=name, why=str(wrong)[:100]), allowed="CSV"
        ) from None
    return lines


def _excel(data: bytes, name: str, sheet: str | None) -> list[tuple[int, tuple[Any, ...]]]:
    from openpyxl import load_workbook

    damaged = UnreadableFile(
        tr("{name} cannot be read as an Excel table; it is damaged, locked or too large.", name=name), allowed="xlsx"
    )
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(info.file_size for info in archive.infolist()) > LARGEST_UNPACKED:
                raise damaged
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and what else is not read
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            names = list(book.sheetnames)
            if sheet is None or sheet in names:
                lines = _sheet(book[sheet] if sheet else book[names[0]], name)
    except UnreadableFile:
        raise
    except Exception as bad:  # the library fails in many ways on damaged bytes; all of them mean one thing
        raise damaged from bad
    if sheet is not None and sheet not in names:
        known = ", ".join(names)[:200]
        raise InvalidInput(
            tr("There is no sheet {sheet}; known: {known}.", sheet=sheet[:40], known=known),
            field="sheet",
            value=sheet[:40],
            allowed=known,
        )
    return lines


def _sheet(sheet: Any, name: str) -> list[tuple[int, tuple[Any, ...]]]:
    lines: list[tuple[int, tuple[Any, ...]]] = []
    for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
        if len(lines) > MOST_ROWS:
            raise _too_many(name)
        if len(cells) > MOST_COLUMNS and any(_filled(cell) for cell in cells[MOST_COLUMNS:]):
            raise _too_many(name)
        if any(_filled(cell) for cell in cells):
            lines.append((number, tuple(cells[:MOST_COLUMNS])))
    return lines


def _parquet(data: bytes, name: str) -> list[tuple[int, tuple[Any, ...]]]:
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(pa.BufferReader(data))
        told = file.metadata
        size = sum(told.row_group(i).total_byte_size for i in range(told.num_row_groups))
        if told.num_rows > MOST_ROWS or size > LARGEST_UNPACKED:
            raise _too_many(name)
        table = file.read()
        columns = [column.to_pylist() for column in table.columns]
    except UnreadableFile:
        raise
    except Exception as bad:  # as above
        raise UnreadableFile(
            tr("{name} cannot be read as a Parquet table; it is damaged or too large.", name=name), allowed="Parquet"
        ) from bad
    rows = zip(*columns, strict=True) if columns else iter(())
    return [(1, tuple(table.column_names)), *((n, tuple(row)) for n, row in enumerate(rows, start=2))]


def plain(cell: Any) -> str:
    """A cell as text, as a person would read it."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)[:LONGEST_CELL].strip()
