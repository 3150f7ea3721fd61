"""An invented table of two eyes, in three forms, with its mapping."""

from __future__ import annotations

import io
from datetime import date
from typing import Any

MAPPING = """
case = "Number"
date = "Measured"
decimal = ","
date_format = "%d.%m.%Y"
separator = ";"

[columns."Eye"]
field = "eye.side"
words = { OD = "right", OS = "left" }

[columns."Born"]
field = "person.age_years"
unit = "date of birth"

[columns."Length"]
field = "biometry.axial_length_mm"
unit = "mm"

[columns."R1"]
field = "biometry.k1_d"
unit = "mm radius"

[columns."R2"]
field = "biometry.k2_d"
unit = "mm radius"

[columns."Sight"]
field = "eye.visual_acuity_logmar"
unit = "snellen"

[columns."PXF"]
field = "signs.pseudoexfoliation"
words = { j = true, n = false }

[columns."Gap"]
field = "signs.dialysis_clock_hours"
"""
HEADINGS = ["Number", "Name", "Measured", "Eye", "Born", "Length", "R1", "R2", "Sight", "PXF", "Gap"]
ROWS = [
    ["T-1", "somebody", "01.03.2026", "OD", "02.03.1950", "23,45", "7,85", "7,67", "6/18", "j", "4|5"],
    ["T-2", "somebody", "01.03.2026", "OS", "01.03.1950", "24,00", "7,85", "7,67", "", "n", ""],
]


def as_csv(rows: list[list[str]] | None = None) -> bytes:
    """The table as text."""
    return "\n".join(";".join(line) for line in [HEADINGS, *(ROWS if rows is None else rows)]).encode()


def typed() -> list[list[Any]]:
    """The rows with numbers and dates of their own, as a workbook keeps them."""
    day, number = date(2026, 3, 1), lambda text: float(text.replace(",", "."))
    return [
        [row[0], row[1], day, row[3], date(1950, 3, 2 if row[0] == "T-1" else 1), *map(number, row[5:8]), *row[8:]]
        for row in ROWS
    ]


def as_excel() -> bytes:
    """The table as a workbook."""
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for line in [HEADINGS, *typed()]:
        sheet.append(line)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def as_parquet() -> bytes:
    """The table as columns."""
    import pyarrow as pa
    from pyarrow import parquet

    out = io.BytesIO()
    columns = dict(zip(HEADINGS, map(list, zip(*typed(), strict=True)), strict=True))
    parquet.write_table(pa.table(columns), out)
    return out.getvalue()
