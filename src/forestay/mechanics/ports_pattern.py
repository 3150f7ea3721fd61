"""Where hooks stand relative to the incision: square, diamond, or a square with one more hook under the incision.

square: the incision lies midway between two hooks. diamond: one hook stands at the incision itself, under or beside
it. extra: a square, and one hook more at the incision. Same hooks, same reach: square and diamond have the same edge,
area and circle; the diamond reaches farther towards the incision.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from forestay.errors import InvalidInput
from forestay.frame import wrap_hour
from forestay.mechanics.expander_view import circle_about_mm, reach_towards_mm
from forestay.mechanics.geometry import Numbers, require
from forestay.mechanics.pupil import HOURS_PER_TURN, opening
from forestay.text import tr

PATTERNS: tuple[str, ...] = ("square", "diamond", "extra")


@dataclass(frozen=True)
class Place:
    """One hook of a pattern; ``at_incision``: it stands at the incision itself."""

    clock: float
    at_incision: bool


@dataclass(frozen=True)
class PatternView:
    """What one pattern shows; each a number, or draws on the last axis."""

    pattern: str
    clocks: tuple[float, ...]
    area_mm2: Numbers
    largest_circle_mm: Numbers
    circle_about_pupil_mm: Numbers
    circle_about_lens_mm: Numbers
    margin_mm: Numbers
    margin_stretch: Numbers
    reach_to_incision_mm: Numbers


def hook_places(*, pattern: str, count: int, incision_clock: float) -> tuple[Place, ...]:
    """Clock positions of ``count`` evenly spaced hooks (and one more for ``extra``) about an incision [hours].

    >>> [p.clock for p in hook_places(pattern="square", count=4, incision_clock=12)]
    [1.5, 4.5, 7.5, 10.5]
    >>> [p.clock for p in hook_places(pattern="diamond", count=4, incision_clock=9)]
    [9.0, 12.0, 3.0, 6.0]
    >>> [p.clock for p in hook_places(pattern="extra", count=4, incision_clock=12) if p.at_incision]
    [12.0]
    """
    if pattern not in PATTERNS:
        known = ", ".join(PATTERNS)
        message = tr("{field} is {value}; allowed: {words}.", field="pattern", value=pattern, words=known)
        raise InvalidInput(message, field="pattern", value=pattern, allowed=known)
    require(holds=count >= 0, field="count", value=count, allowed=tr("0 or more"))
    first = 0 if pattern == "diamond" else HOURS_PER_TURN / (2 * max(count, 1))
    steps = [first + HOURS_PER_TURN * i / count for i in range(count)]
    places = [Place(wrap_hour(incision_clock + step), step == 0) for step in steps]
    if pattern == "extra" and count:
        places.append(Place(wrap_hour(incision_clock), True))
    return tuple(places)


def pattern_view(
    *,
    pattern: str,
    count: int,
    incision_clock: float,
    reach_mm: float,
    pupil_mm: Numbers,
    corner_radius_mm: float,
    lens_clock: float = 12,
    lens_offset_mm: Numbers = 0,
) -> PatternView:
    """What a pattern of hooks shows: opening, circles about pupil and lens, edge, and reach towards the incision.

    Parameters: ``pattern``, ``count`` of evenly spaced hooks, ``incision_clock`` [hours], ``reach_mm`` of every hook
    [mm] above 0, ``pupil_mm`` before hooks [mm], ``corner_radius_mm`` of the wire [mm], ``lens_offset_mm`` [mm] towards
    ``lens_clock`` [hours]. Result: :class:`PatternView`. Stretch is a ratio; at what stretch an edge tears is unknown.

    >>> four = {"count": 4, "incision_clock": 12, "reach_mm": 3.54, "pupil_mm": 3.0, "corner_radius_mm": 0.0}
    >>> five = pattern_view(pattern="extra", **four)
    >>> round(five.margin_mm, 2), round(five.area_mm2, 1), round(five.largest_circle_mm, 2)
    (20.44, 27.7, 5.01)
    """
    clocks = tuple(place.clock for place in hook_places(pattern=pattern, count=count, incision_clock=incision_clock))
    reach = [reach_mm] * len(clocks)
    found = opening(clocks=clocks, reach_mm=reach, pupil_mm=pupil_mm, corner_radius_mm=corner_radius_mm)
    return PatternView(
        pattern=pattern,
        clocks=clocks,
        area_mm2=found.area_mm2,
        largest_circle_mm=found.largest_circle_mm,
        circle_about_pupil_mm=circle_about_mm(clocks=clocks, reach_mm=reach, pupil_mm=pupil_mm),
        circle_about_lens_mm=circle_about_mm(
            clocks=clocks,
            reach_mm=reach,
            pupil_mm=pupil_mm,
            centre_clock=lens_clock,
            centre_offset_mm=lens_offset_mm,
        ),
        margin_mm=found.margin_mm,
        margin_stretch=found.margin_stretch,
        reach_to_incision_mm=reach_towards_mm(
            clocks=clocks, reach_mm=reach, pupil_mm=pupil_mm, towards_clock=incision_clock
        ),
    )


def compare(patterns: Sequence[str], **keys: object) -> tuple[PatternView, ...]:
    """Several patterns beside one another; ``keys`` as :func:`pattern_view`."""
    return tuple(pattern_view(pattern=pattern, **keys) for pattern in patterns)  # type: ignore[arg-type]
