"""The nucleus's way through the opening: ``python -m benchmarks.passage``.

The search of the best way against the same bottleneck on a grid of tilts and heights by a spanning tree of scipy, and
how its cost grows with stations and draws.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree
from scipy.special import ellipe

from benchmarks.measure import seconds
from forestay.evidence import default_evidence
from forestay.mechanics.passage import PassageConstants, even_draws, smallest_opening
from forestay.mechanics.wheel_path import room_needed_mm, wheel_path

WIDE, THICK, ABOVE, BELOW = 7.89, 3.53, 4.0, 6.0
BARRED = 1e3


def by_spanning_tree(tilts: int, heights: int) -> float:
    """Smallest largest girth from below to above: the bottleneck on the tree that spans the grid."""
    tilt = np.radians(np.linspace(0, 90, tilts))[:, None]
    a, b = WIDE / 2, THICK / 2
    half = np.hypot(a * np.sin(tilt), b * np.cos(tilt))
    side = 1 / np.hypot(np.cos(tilt) / a, np.sin(tilt) / b)
    height = np.linspace(-a, a, heights)[None, :]
    girth = 4 * a * ellipe(1 - (side / a) ** 2) * np.sqrt(np.clip(1 - (height / half) ** 2, 0, None))
    girth = np.where((half + height > ABOVE) | (half - height > BELOW), BARRED, girth + 1e-9)
    number = np.arange(tilts * heights).reshape(tilts, heights)
    ends, cost = [], []
    later, sooner, every = slice(1, None), slice(None, -1), slice(None)
    for one, two in (((sooner, every), (later, every)), ((every, sooner), (every, later))):
        ends.append(np.stack([number[one].ravel(), number[two].ravel()]))
        cost.append(np.maximum(girth[one], girth[two]).ravel())
    row, column = np.concatenate(ends, axis=1)
    tree = minimum_spanning_tree(coo_array((np.concatenate(cost), (row, column)), shape=(number.size,) * 2))
    above = (height[0] > half[0]) & (girth[0] < BARRED)
    start, goal = int(number[0, 0]), int(number[0, above.argmax()])
    _, before = breadth_first_order(tree, start, directed=False)
    both = (tree + tree.T).tocsr()
    worst, at = 0.0, goal
    while at != start:
        worst = max(worst, float(both[at, before[at]]))
        at = int(before[at])
    return worst


def way() -> None:
    """One nucleus."""
    exact = float(wheel_path(**keys(), stations=40_001).worst_girth_mm)
    print(f"best way of one nucleus; girth {exact:.4f} mm")
    for stations in (46, 91, 181, 361):
        ours = seconds(lambda n=stations: wheel_path(**keys(), stations=n), 20)
        error = abs(float(wheel_path(**keys(), stations=stations).worst_girth_mm) - exact)
        print(f"  {stations:4d} tilts              {1e3 * ours:7.3f} ms  error {error:.1e} mm")
    for tilts, heights in ((91, 181), (181, 361)):
        theirs = seconds(lambda n=tilts, m=heights: by_spanning_tree(n, m), 3)
        error = abs(by_spanning_tree(tilts, heights) - exact)
        base = seconds(lambda: wheel_path(**keys()), 20)
        print(
            f"  {tilts:4d} x {heights} by scipy   {1e3 * theirs:7.1f} ms  error {error:.1e} mm  "
            f"({theirs / base:.0f} x the time of 181 tilts)"
        )
    need = seconds(
        lambda: room_needed_mm(
            nucleus_diameter_mm=WIDE, nucleus_thickness_mm=THICK, girth_mm=None, room_below_mm=BELOW
        ),
        10,
    )
    print(f"  room needed, by halving {1e3 * need:6.2f} ms")


def keys() -> dict[str, float]:
    """The nucleus and its room."""
    return {
        "nucleus_diameter_mm": WIDE,
        "nucleus_thickness_mm": THICK,
        "room_above_mm": ABOVE,
        "room_below_mm": BELOW,
    }


def draws() -> None:
    """Least openings of many draws."""
    print("least opening over draws of nucleus and stretch")
    constants = default_evidence().reader().constants(PassageConstants)
    for count in (100, 1_000, 10_000):
        even = even_draws(count=count, quantities=3)

        def work(e: Any = even) -> Any:
            return smallest_opening(
                nucleus_diameter_mm=6.5 + 2.5 * e[0],
                nucleus_thickness_mm=2.5 + 2 * e[1],
                tolerated_stretch=1 + 0.35 * e[2],
                room_above_mm=3.8,
                clearance_mm=0.5,
                constants=constants,
            )

        spent = seconds(work, 3)
        print(f"  {count:>6,} draws {1e3 * spent:8.1f} ms  {1e6 * spent / count:6.1f} us a draw")


if __name__ == "__main__":
    way()
    draws()
