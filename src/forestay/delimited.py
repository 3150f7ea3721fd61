"""Small tables that a person writes or a spreadsheet saves as text: comma or semicolon, UTF-8."""

from __future__ import annotations

import csv
import io

from forestay.errors import UnreadableFile
from forestay.text import tr

ENDS = ("\r\n", "\r", "\n")


def lines_of_table(data: bytes, name: str) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """The columns, and each line that is not blank with its number in the file; ``name`` stands in the error.

    Lines end as any system ends them. Cells beyond the columns are left out, missing ones are empty.

    >>> lines_of_table(b"eye;side\\r101; left\\r", "the table")
    (['eye', 'side'], [(2, {'eye': '101', 'side': 'left'})])
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UnreadableFile(tr("{name} is not a text file in UTF-8.", name=name), allowed="CSV") from None
    for end in ENDS:
        text = text.replace(end, "\n")
    reader = csv.reader(io.StringIO(text), delimiter=";" if ";" in text.partition("\n")[0] else ",")
    try:
        columns = [cell.strip() for cell in next(reader, [])]
        found = [
            (reader.line_num, dict(zip(columns, [*(c.strip() for c in cells), *[""] * len(columns)], strict=False)))
            for cells in reader
            if any(cell.strip() for cell in cells)
        ]
    except csv.Error as wrong:
        why = str(wrong)[:100]
        raise UnreadableFile(tr("{name} cannot be read as CSV: {why}.", name=name, why=why), allowed="CSV") from None
    twice = next((column for column in columns if columns.count(column) > 1), None)
    if twice is not None:
        raise UnreadableFile(tr("{name} has the column {column} twice.", name=name, column=twice), allowed="CSV")
    return columns, found
