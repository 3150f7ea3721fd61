"""People as squares: so many of a thousand, black on white, readable without colour."""

from __future__ import annotations

from forestay.draw.svg import element, picture
from forestay.errors import InvalidInput
from forestay.text import tr

COLUMNS = 50
STEP = 6.0
SIDE = 4.6


def icon_array(*, count: int, high: int | None, total: int, name: str, says: str) -> str:
    """An array of ``total`` squares: the first ``count`` filled, those up to ``high`` with a bold edge, the rest thin.

    Filled, bold-edged and thin differ by shape of the ink, not by colour, so that a photocopy still tells them apart.
    """
    top = count if high is None else max(count, high)
    if not 0 <= count <= top <= total:
        raise InvalidInput(
            tr(
                "count is {count} and high {high} of {total}; allowed: 0 to {total}.",
                count=count,
                high=high,
                total=total,
            ),
            field="count",
            value=count,
            allowed=f"0 to {total}",
        )
    rows = -(-total // COLUMNS)
    filled = "".join(_square(i, SIDE) for i in range(count))
    bold = "".join(_square(i, SIDE - 1.1) for i in range(count, top))
    thin = "".join(_square(i, SIDE - 0.4) for i in range(top, total))
    return picture(
        element("path", d=thin, fill="none", stroke="#000", stroke_width=0.25) if thin else "",
        element("path", d=bold, fill="none", stroke="#000", stroke_width=1.1) if bold else "",
        element("path", d=filled, fill="#000") if filled else "",
        width=COLUMNS * STEP,
        height=rows * STEP,
        title=says,
        description=tr("{count} squares of {total} are filled", count=count, total=total),
        name=name,
    )


def _square(index: int, side: float) -> str:
    """Path of one square, centred in its cell."""
    x = (index % COLUMNS) * STEP + (STEP - side) / 2
    y = (index // COLUMNS) * STEP + (STEP - side) / 2
    return f"M{x:.2f} {y:.2f}h{side:.2f}v{side:.2f}h{-side:.2f}z"
