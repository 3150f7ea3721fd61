"""The eye's frame: clock hours, meridians and the mirror between the eyes, said once for the whole project.

Clock hours are the eye's, as an examiner faces the patient: 12 superior, 3 at the examiner's right, whichever eye.
So temporal is 9 in a right eye and 3 in a left eye. Meridians run 0-180 degrees, counter-clockwise from the
examiner's right. The mirror between the eyes maps hour h to 12 - h and axis a to 180 - a.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, TypeVar

Side = Literal["right", "left"]
HOURS: tuple[int, ...] = (12, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11)
"""The order of every list "by clock hour"."""

T = TypeVar("T")


def wrap_hour(hour: float) -> float:
    """The same clock position in 0 < hour <= 12.

    >>> wrap_hour(0), wrap_hour(13.5), wrap_hour(12)
    (12.0, 1.5, 12.0)
    """
    wrapped = float(hour) % 12.0
    return 12.0 if wrapped == 0.0 else wrapped


def _below(angle: float, turn: float) -> float:
    """``angle`` mod ``turn``, kept below ``turn``: the remainder of a tiny negative angle rounds up to a whole turn."""
    rest = angle % turn
    return 0.0 if rest == turn else rest


def meridian_deg(hour: float) -> float:
    """Meridian [degrees, 0 <= m < 180] of clock position ``hour``: (90 - 30 h) mod 180.

    >>> meridian_deg(12), meridian_deg(3), meridian_deg(10)
    (90.0, 0.0, 150.0)
    """
    return _below(90.0 - 30.0 * float(hour), 180.0)


def angle_deg(hour: float) -> float:
    """Direction [degrees, counter-clockwise from the examiner's right, 0 <= a < 360] of a clock position."""
    return _below(90.0 - 30.0 * float(hour), 360.0)


def mirror_hour(hour: float) -> float:
    """The clock position in the other eye's frame: 12 - h.

    >>> mirror_hour(9), mirror_hour(12), mirror_hour(6)
    (3.0, 12.0, 6.0)
    """
    return wrap_hour(12.0 - float(hour))


def mirror_axis(axis_deg: float) -> float:
    """The axis in the other eye's frame: 180 - axis, kept in 0 < axis <= 180.

    >>> mirror_axis(10), mirror_axis(180), mirror_axis(90)
    (170.0, 180.0, 90.0)
    """
    mirrored = (180.0 - float(axis_deg)) % 180.0
    return 180.0 if mirrored == 0.0 else mirrored


def mirror_by_hour(values: Sequence[T]) -> tuple[T, ...]:
    """A list by clock hour (12, 1, ... 11) seen in the other eye's frame."""
    return (values[0], *reversed(values[1:]))


def temporal_hour(side: Side) -> float:
    """9 in a right eye, 3 in a left eye."""
    return 9.0 if side == "right" else 3.0


def hour_distance(a: float, b: float) -> float:
    """Distance between two clock positions in hours, 0 to 6."""
    d = abs(float(a) - float(b)) % 12.0
    return min(d, 12.0 - d)
