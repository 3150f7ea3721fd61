"""How far a scleral suture is drawn before it is knotted: until the bag lies in the middle.

A surgeon does not leave a suture at the length at which it happens to be just tight. The knot is slid, the bag watched,
and tied where the bag is centred. How far that is has no published number and needs none: it follows from the balance.

References: a suture of a sutured ring adjusted for its centring, doi 10.1016/j.jcrs.2019.09.015; adjustable tension of three
such sutures recentres a late subluxed ring, doi 10.1007/s40123-022-00478-y (abstracts of both; neither gives a force).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import fsum
from typing import Literal

import numpy as np

from forestay.mechanics.zonule import Floats, direction, on_grid

TieState = Literal["centred", "slack", "limited"]
CENTRED_TOLERANCE_MM = 1e-4
"""How near the middle is the middle."""
TRIES_LIMIT = 12
"""Lengths that are tried, at most."""
OPPOSED_TOLERANCE = 0.2
"""Sutures whose directions add up to less than this share of their number pull against one another."""


@dataclass(frozen=True)
class Knot:
    """What a suture's knot does. ``drawn_mm`` [mm]: how much shorter the suture is than just tight with the bag in the
    middle; ``pulled_mm`` [mm]: how much of that was drawn while it pulled; ``state``: ``centred``; ``slack``, nothing to draw: the bag lies in the middle along the suture, or beyond;
    ``limited``: drawn as far as the wall lets or a rest is found, the bag still off centre."""

    drawn_mm: float
    pulled_mm: float
    state: TieState


def along(clocks: Sequence[float]) -> Floats | None:
    """Unit vector in which sutures at these clock hours draw together; None where they pull against one another.

    >>> along((6.0,)), along((3.0, 9.0))
    (array([ 0., -1.]), None)
    """
    ways = [direction(on_grid(clock)) for clock in clocks]
    total = np.array([fsum(way[axis] for way in ways) for axis in (0, 1)])  # alike in whatever order, and mirrored
    length = float(np.hypot(*total))
    return total / length if clocks and length > OPPOSED_TOLERANCE * len(clocks) else None


def drawn(*, shift_mm: Callable[[float], float | None], from_mm: float, limit_mm: float) -> Knot:
    """The draw at which the bag is centred along the suture.

    Parameters: ``shift_mm`` of a draw [mm]: where the bag's centre then lies along the suture, towards it positive, None
    where nothing rests; ``from_mm``: a draw at which the suture does not pull yet; ``limit_mm``: the longest draw. Result:
    :class:`Knot`. Equation: ``shift(draw) = 0``, by secants kept inside what is known to lie on either side; at most
    ``TRIES_LIMIT`` draws are tried, and a draw without rest is taken as one too many.

    >>> drawn(shift_mm=lambda d: 0.5 * d - 0.1, from_mm=0.0, limit_mm=1.0)
    Knot(drawn_mm=0.2, pulled_mm=0.2, state='centred')
    """
    start = shift_mm(from_mm)
    if start is None or start >= -CENTRED_TOLERANCE_MM:
        return Knot(from_mm, 0.0, "slack")
    low, off = (from_mm, start), (from_mm, start)
    high: tuple[float, float] | None = None
    most, before = limit_mm, low
    trial = min(from_mm - start, limit_mm)
    for _ in range(TRIES_LIMIT):
        here = shift_mm(trial)
        if here is None:
            most = trial
            trial = (low[0] + most) * 0.5
            continue
        if abs(here) <= abs(off[1]):
            off = (trial, here)
        if abs(here) <= CENTRED_TOLERANCE_MM:
            return Knot(trial, trial - from_mm, "centred")
        now = (trial, here)
        if here < 0:
            if trial >= limit_mm:
                break
            low = max(low, now)
        else:
            high = now
        trial = _next(low, high, before, now, most)
        before = now
    return Knot(off[0], off[0] - from_mm, "limited")


def _next(
    low: tuple[float, float],
    high: tuple[float, float] | None,
    before: tuple[float, float],
    now: tuple[float, float],
    most: float,
) -> float:
    """The next draw: where the secant through the last two crosses the middle, if that lies inside what is known; else
    half way, or, with nothing known beyond, as far again."""
    end = most if high is None else high[0]
    rise = now[1] - before[1]
    crossing = now[0] - now[1] * (now[0] - before[0]) / rise if rise else end
    if low[0] < crossing < end:
        return crossing
    return (low[0] + end) * 0.5 if high is not None or crossing <= low[0] else end
