"""Words that every picture and the sheet share: side of the eye, viewpoint, parts of the plan."""

from __future__ import annotations

from forestay.frame import Side
from forestay.text import tr


def side_words(side: str) -> str:
    """``Right eye`` or ``Left eye``, always written out."""
    return tr("Right eye") if side == "right" else tr("Left eye")


def viewpoint_words(seat: str) -> str:
    """Where the viewer is, always written out."""
    return tr("as the surgeon sits, temporal") if seat == "temporal" else tr("as the surgeon sits, superior")


def seat_words(side: Side, seat: str) -> str:
    """Which hour lies where, in one sentence."""
    if seat == "temporal":
        if side == "right":
            return tr("9 o'clock (temporal) is at the bottom, 12 at the left, 6 at the right.")
        return tr("3 o'clock (temporal) is at the bottom, 12 at the right, 6 at the left.")
    return tr("12 o'clock is at the bottom, 9 at the right, 3 at the left.")


def hours_words(hours: tuple[float, ...]) -> str:
    """Clock positions in words a surgeon reads, from 1 to 12: ``1:30, 4:30``.

    >>> hours_words((1.5, 4.5, 12))
    '1:30, 4:30, 12'
    """
    return ", ".join(hour_words(h) for h in sorted(hours))


def hour_words(hour: float) -> str:
    """One clock position, to the nearest five minutes of the dial.

    >>> hour_words(12), hour_words(0.5), hour_words(5.99)
    ('12', '12:30', '6')
    """
    minutes = round(hour * 12) * 5 % 720
    whole = minutes // 60 or 12
    return f"{whole}" if minutes % 60 == 0 else f"{whole}:{minutes % 60:02d}"
