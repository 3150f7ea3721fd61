"""A gap in the zonule as a text that stands in an address and in a field, and what moving one of its ends makes of it.

``6-8`` is three clock hours, 6, 7 and 8; ``11-1`` goes across 12; ``6-8,11`` are two gaps; ``none`` is no gap. Ends move
by whole hours. Where there are several gaps, the ends are those of the longest; the others stay.
"""

from __future__ import annotations

from collections.abc import Sequence

from forestay.errors import InvalidInput
from forestay.frame import HOURS, wrap_hour
from forestay.text import tr

NONE = "none"
LONGEST = len(HOURS) - 1
"""Clock hours of the longest gap whose ends can still be told apart."""
Run = tuple[float, ...]


def gap_runs(gaps: Sequence[float]) -> tuple[Run, ...]:
    """Neighbouring lost hours joined, across 12 as well: each run in clockwise order.

    >>> gap_runs((6, 7, 11, 12, 1))
    ((6.0, 7.0), (11.0, 12.0, 1.0))
    """
    rest = sorted({wrap_hour(round(g, 6)) for g in gaps})
    if not rest:
        return ()
    runs: list[list[float]] = [[rest[0]]]
    for hour in rest[1:]:
        if hour - runs[-1][-1] <= 1.0:
            runs[-1].append(hour)
        else:
            runs.append([hour])
    if len(runs) > 1 and runs[0][0] + 12.0 - runs[-1][-1] <= 1.0:
        runs[0] = runs.pop() + runs[0]
    return tuple(sorted((tuple(r) for r in runs), key=lambda r: r[0]))


def arc_text(gaps: Sequence[float]) -> str:
    """The gaps as one text.

    >>> arc_text((12, 1, 11, 6)), arc_text(())
    ('6,11-1', 'none')
    """
    runs = [f"{run[0]:g}" if len(run) == 1 else f"{run[0]:g}-{run[-1]:g}" for run in gap_runs(gaps)]
    return ",".join(runs) or NONE


def arc_hours(text: str) -> Run:
    """The clock hours of a text as :func:`arc_text` writes it.

    >>> arc_hours("6,11-1"), arc_hours("none")
    ((1.0, 6.0, 11.0, 12.0), ())
    """
    plain = text.strip()
    if plain == NONE:
        return ()
    hours: set[float] = set()
    try:
        for part in plain.split(","):
            first, _, last = part.partition("-")
            hours.update(between(_hour(first), _hour(last or first)))
    except ValueError:
        raise InvalidInput(
            tr("weak_hours is {text!r}; allowed: clock hours such as 6-8, or none.", text=plain[:40]),
            field="weak_hours",
            value=plain[:40],
            allowed=tr("clock hours from 1 to 12, such as 6-8 or 6-8,11; or none"),
        ) from None
    return tuple(sorted(hours))


def _hour(text: str) -> float:
    hour = float(text)
    if not 0 < hour <= len(HOURS):
        raise ValueError(text)
    return hour


def between(first: float, last: float) -> Run:
    """The clock hours from ``first`` clockwise to ``last``.

    >>> between(11, 1), between(6, 6)
    ((11.0, 12.0, 1.0), (6.0,))
    """
    return tuple(wrap_hour(first + i) for i in range(int((last - first) % len(HOURS)) + 1))


def main_run(gaps: Sequence[float]) -> Run | None:
    """The longest gap, of equals the first on the dial; None where there is none."""
    return max(gap_runs(gaps), key=len, default=None)


def with_end(gaps: Sequence[float], end: str, hour: float) -> Run:
    """The gaps with the ``from`` or the ``to`` end of the longest one at another hour.

    An end that is moved past the other one stops there: one hour is left, or :data:`LONGEST`.

    >>> with_end((6, 7, 8), "from", 5), with_end((6, 7, 8), "to", 7), with_end((6, 7, 8), "from", 9)
    ((5.0, 6.0, 7.0, 8.0), (6.0, 7.0), (8.0,))
    """
    run = main_run(gaps)
    if run is None:
        return (wrap_hour(hour),)
    others = {wrap_hour(float(g)) for g in gaps} - set(run)
    turns = len(HOURS)
    moved = (hour - (run[0] if end == "from" else run[-1]) + turns / 2) % turns - turns / 2  # the short way round
    grown = round(-moved if end == "from" else moved)
    length = max(1, min(LONGEST, len(run) + grown))
    first = run[0] if end == "to" else run[-1] - (length - 1)
    return tuple(sorted(others | {wrap_hour(first + i) for i in range(length)}))


def arc_words(gaps: Sequence[float]) -> str:
    """The gaps as they are read: ``6 to 8 and 11``."""
    runs = [
        f"{run[0]:g}" if len(run) == 1 else tr("{first:g} to {last:g}", first=run[0], last=run[-1])
        for run in gap_runs(gaps)
    ]
    return tr(" and ").join(runs) or tr("none")
