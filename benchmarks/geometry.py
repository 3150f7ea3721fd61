"""Closed forms of the mechanics against general-purpose references: ``python -m benchmarks.geometry``.

The girth of an ellipse against scipy's elliptic integral; the opening on hooks, with its largest circle, against one
convex hull and one linear program for each draw.
"""

from __future__ import annotations

from time import perf_counter
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.spatial import ConvexHull
from scipy.special import ellipe

from benchmarks.measure import seconds
from forestay.mechanics.geometry import ellipse_perimeter_mm
from forestay.mechanics.pupil import evenly_spaced_clocks, opening_circle_mm

REFERENCE_DRAWS = 60


def girth() -> None:
    """Girth of many nuclei."""
    print("girth of an ellipse")
    source = np.random.default_rng(1)
    for draws in (1_000, 10_000, 100_000, 1_000_000):
        wide, thick = source.uniform(6, 9, draws), source.uniform(2.5, 4.5, draws)
        ours = seconds(lambda w=wide, t=thick: ellipse_perimeter_mm(diameter_mm=w, thickness_mm=t), 5)
        reference = seconds(lambda w=wide, t=thick: 2 * w * ellipe(1 - (t / w) ** 2), 5)
        print(f"  {draws:>9,} draws  {1e3 * ours:8.2f} ms  {ours / reference:5.2f} x the time of scipy.special.ellipe")


def circle_by_linear_program(angle: Any, reach: Any) -> float:
    """The largest circle in one polygon of hooks."""
    sides = ConvexHull(np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])).equations
    rows = np.column_stack([sides[:, :2], np.ones(len(sides))])
    free: Any = [(None, None), (None, None), (0, None)]
    return float(-linprog([0, 0, -1], A_ub=rows, b_ub=-sides[:, 2], bounds=free).fun)


def hooks() -> None:
    """Openings on scattered hooks."""
    print("largest circle in the opening on scattered hooks")
    source = np.random.default_rng(2)
    for count in (4, 5, 6, 8):
        clocks = evenly_spaced_clocks(count, 1.5)
        for draws in (1_000, 10_000):
            reach = 3.5 + 0.12 * source.standard_normal((count, draws))
            scatter = 0.23 * source.standard_normal((count, draws))

            def work(c: Any = clocks, r: Any = reach, s: Any = scatter) -> Any:
                return opening_circle_mm(clocks=c, reach_mm=r, pupil_mm=3.0, clock_scatter_hours=s)

            ours = seconds(work, 5)
            angle = (np.array(clocks)[:, np.newaxis] + scatter) * np.pi / 6
            start = perf_counter()
            found = [2 * circle_by_linear_program(angle[:, i], reach[:, i]) for i in range(REFERENCE_DRAWS)]
            reference = (perf_counter() - start) / REFERENCE_DRAWS * draws
            worst = float(np.abs(np.array(found) - work()[:REFERENCE_DRAWS]).max())
            print(
                f"  {count} hooks {draws:>7,} draws  {1e3 * ours:7.1f} ms  "
                f"{reference / ours:7.0f} x faster than hull + linprog, worst difference {worst:.1e} mm"
            )


if __name__ == "__main__":
    girth()
    hooks()
