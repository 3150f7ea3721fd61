"""The tables of a review as one file: what the page shows, and nothing that it hides."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from forestay.web.views.review import Block

FORMULA = "=+-@\t\r"
"""A cell that begins so is worked out by a spreadsheet instead of shown."""


def as_csv(blocks: Sequence[Block], says: Sequence[str], caution: str) -> bytes:
    """One table after the other under its title, each with its sentence; what stands above them on the page comes first."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerows([_plain(line)] for line in (*says, caution))
    for block in blocks:
        writer.writerow([])
        writer.writerow([_plain(block.title), _plain(block.says)])
        writer.writerow([_plain(cell) for cell in block.table.head])
        writer.writerows([_plain(cell) for cell in row] for row in block.table.rows)
    return b"\xef\xbb\xbf" + buffer.getvalue().encode()  # the mark tells a spreadsheet that it is UTF-8


def _plain(cell: str) -> str:
    """The cell with a sign before it that keeps a spreadsheet from working it out; a plain number stays."""
    bare = cell.removeprefix("-").removeprefix("+").replace(".", "", 1)
    return f"'{cell}" if cell[:1] in tuple(FORMULA) and not bare.isdigit() else cell
