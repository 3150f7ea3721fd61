"""Where iris hooks stand, and how much of the lens they show.

A round pupil on hooks opens alike wherever the tunnel lies: what is seen is worked out with the tunnel turned to 12.
"""

from __future__ import annotations

from collections.abc import Sequence

from forestay.frame import wrap_hour
from forestay.mechanics import pupil
from forestay.plan.setting import Setting

SQUARE = 4
"""Hooks in a square, 45 degrees to either side of a scleral tunnel, still clear its groove; more of them stand nearer."""


def hook_clocks(count: int, tunnel_at: float, *, wide: bool = False) -> tuple[float, ...]:
    """Clock hours of ``count`` iris hooks, evenly spaced to the half hour; the tunnel lies midway between two.

    Where a ``wide`` tunnel would take in both of these, the pattern turns half a step: one hook stands at its middle, in
    front of the groove, and the others clear it. What is seen is the same.

    >>> hook_clocks(4, 12.0, wide=True), hook_clocks(5, 12.0, wide=True)
    ((1.5, 4.5, 7.5, 10.5), (12.0, 2.5, 5.0, 7.0, 9.5))
    """
    if count == 0:
        return ()
    at_tunnel = wide and count > SQUARE
    first, pairs = (0.0, count // 2 + 1) if at_tunnel else (0.5, (count + 1) // 2)
    offsets = (round(2 * (i + first) * 12.0 / count) / 2 for i in range(pairs))
    clocks = {wrap_hour(tunnel_at + side * offset) for offset in offsets for side in (1, -1)}
    return tuple(sorted(clocks, key=lambda c: c % 12))


def circle_in_view_mm(setting: Setting, count: int, reach_mm: float | None, tunnel_at: float) -> float | None:
    """Diameter of the largest circle seen, with ``count`` iris hooks drawn to ``reach_mm`` or without any [mm]."""
    now = setting.estimates.pupil
    if now is None:
        return None
    if not count or reach_mm is None:
        return now.centre
    clocks = from_tunnel(hook_clocks(count, tunnel_at), tunnel_at)
    return float(pupil.opening_circle_mm(clocks=clocks, reach_mm=[reach_mm] * count, pupil_mm=now.centre))


def from_tunnel(clocks: Sequence[float], tunnel_at: float) -> tuple[float, ...]:
    """The clock hours with the tunnel turned to 12: a round pupil opens alike wherever the tunnel lies.

    >>> from_tunnel((10.0, 2.5), 9.0)
    (1.0, 5.5)
    """
    turned = (wrap_hour(round(clock - tunnel_at, pupil.CLOCK_TOLERANCE_DIGITS)) for clock in clocks)
    return tuple(sorted(turned, key=lambda c: c % 12))
