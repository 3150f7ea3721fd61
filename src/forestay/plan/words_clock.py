"""Clock hours as said."""

from __future__ import annotations

from collections.abc import Sequence

from forestay.frame import wrap_hour
from forestay.text import tr


def clock_text(hour: float) -> str:
    """A clock position as said: ``10:30``, ``12``."""
    whole = int(hour)
    minutes = round((hour - whole) * 60)
    if minutes == 60:
        whole, minutes = whole + 1, 0
    whole = whole % 12 or 12
    return f"{whole}:{minutes:02d}" if minutes else f"{whole}"


def hours_text(hours: Sequence[float]) -> str:
    """Clock positions in their order round the clock: ``1:30, 4:30, 7:30 and 10:30``; ``10:30, 12 and 1:30``."""
    said = [clock_text(h) for h in _round_the_clock(hours)]
    return said[0] if len(said) == 1 else tr("{first} and {last}", first=", ".join(said[:-1]), last=said[-1])


def _round_the_clock(hours: Sequence[float]) -> list[float]:
    """From 12 on; where all lie on one side of the clock, from the end of the wide empty side on.

    >>> _round_the_clock((12.0, 1.5, 10.5)), _round_the_clock((6.0, 12.0, 9.0)), _round_the_clock((8.0, 10.0, 2.0, 4.5))
    ([10.5, 12.0, 1.5], [6.0, 9.0, 12.0], [2.0, 4.5, 8.0, 10.0])
    """
    ordered = sorted(hours, key=lambda h: h % 12)
    before = [(h - ordered[i - 1]) % 12 for i, h in enumerate(ordered)]
    widest = max(before, default=0.0)
    if widest < 6 or before.count(widest) > 1 or (len(ordered) == 2 and widest < 9):
        return ordered
    first = before.index(widest)
    return ordered[first:] + ordered[:first]


def span_text(hours: Sequence[float]) -> str:
    """A run of clock hours: ``4 to 6 o'clock``; separate ones are listed."""
    if not hours:
        return ""
    ordered = sorted(h % 12 for h in hours)
    breaks = [(ordered[(i + 1) % len(ordered)] - h) % 12 for i, h in enumerate(ordered)]
    if len(ordered) > 1 and sum(b > 1 for b in breaks) > 1:
        return tr("{hours} o'clock", hours=hours_text([wrap_hour(h) for h in ordered]))
    start = 0 if len(ordered) == 1 else (breaks.index(max(breaks)) + 1) % len(ordered)
    first, last = wrap_hour(ordered[start]), wrap_hour(ordered[start - 1])
    if first == last:
        return tr("{hour} o'clock", hour=clock_text(first))
    return tr("{first} to {last} o'clock", first=clock_text(first), last=clock_text(last))
