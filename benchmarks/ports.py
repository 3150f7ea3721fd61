"""Pupil, ports, chamber, held nucleus and search for support: ``python -m benchmarks.ports``.

Each against a general-purpose way in the same run: linear programming for a circle about a point, a convex hull for the
held nucleus, a general optimiser for the nucleus under the cornea, all combinations for the ports; and how the cost
grows. The search for support is timed on the planar bag, in numpy and, where it is installed, compiled.
"""

from __future__ import annotations

from itertools import product
from time import process_time
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.spatial import ConvexHull

from benchmarks.measure import seconds
from forestay.calc.support import support_search_calculation
from forestay.evidence import default_evidence
from forestay.frame import wrap_hour
from forestay.mechanics import fast
from forestay.mechanics.chamber_dome import clearance_mm, fit
from forestay.mechanics.expander_view import circle_about_mm
from forestay.mechanics.open_ring_pull import ringed
from forestay.mechanics.pocket import held_girth_mm
from forestay.mechanics.ports import apart_deg, arrange
from forestay.mechanics.ports_model import Avoid, PortConstants, Wanted
from forestay.mechanics.tenting import attack

SQUARE = (1.5, 4.5, 7.5, 10.5)
TOOLS = {"limb_thickness_mm": 0.3, "limb_half_span_mm": 2.5, "bar_thickness_mm": 0.5}
RINGLESS = ("none", "hooks", "segment")
GAPS = (
    (1, 1, 1, 1, 0.8, 0, 0, 0, 0.8, 1, 1, 1),
    (1, 1, 0.9, 0.5, 0.2, 0.1, 0.2, 0.3, 0.6, 0.8, 1, 1),
    (0.4,) * 12,
    (1, 1, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1),
)


def circles() -> None:
    """The circle about a displaced lens, many draws."""
    print("largest circle about the lens's centre, four hooks")
    source = np.random.default_rng(1)
    for draws in (1, 100, 1_000, 10_000):
        reach = 3.5 + 0.12 * source.standard_normal((4, draws))
        offset = np.abs(0.4 * source.standard_normal(draws))

        def ours(r: Any = reach, o: Any = offset) -> Any:
            return circle_about_mm(clocks=SQUARE, reach_mm=r, pupil_mm=3.0, centre_clock=4, centre_offset_mm=o)

        one = seconds(ours, 5)
        angle = np.radians(90 - 30 * np.array(SQUARE))
        corners = np.column_stack([reach[:, 0] * np.cos(angle), reach[:, 0] * np.sin(angle)])
        hull = seconds(lambda c=corners: ConvexHull(c), 20)
        print(f"  {draws:>6} draws {1e3 * one:8.2f} ms; {hull * draws / one:6.1f} x faster than one hull a draw")


def held() -> None:
    """The held nucleus."""
    print("girth of a nucleus on a loop with a bar")
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    points = np.concatenate([ring * [3.565, 1.525], 0.15 * ring + [2.5, -1.3], 0.15 * ring + [-2.5, -1.3], 0.25 * ring])
    reference = seconds(lambda: ConvexHull(points), 10)
    for draws in (1, 100, 1_000, 10_000):
        wide = np.random.default_rng(2).uniform(6, 9, draws)
        work = seconds(lambda w=wide: held_girth_mm(nucleus_diameter_mm=w, nucleus_thickness_mm=3.05, **TOOLS), 3)
        print(
            f"  {draws:>6} draws {1e3 * work:8.2f} ms; {reference * draws / work:6.1f} x faster than a hull of points a draw"
        )


def dome() -> None:
    """The nucleus under the cornea."""
    print("layer between nucleus and cornea; room for every tilt")
    place = {"nucleus_diameter_mm": 7.43, "nucleus_thickness_mm": 3.28, "dome_radius_mm": 7.22}

    def far(angles: Any) -> float:
        u, v = angles
        x, y, z = 3.715 * np.cos(u) * np.cos(v), 3.715 * np.cos(u) * np.sin(v), 1.64 * np.sin(u)
        along = x * np.sin(0.5) + z * np.cos(0.5) + 5.22
        return -float((x * np.cos(0.5) - z * np.sin(0.5)) ** 2 + y**2 + along**2)

    general = seconds(lambda: min(minimize(far, (0.3, v), method="BFGS").fun for v in (0.1, 2.0)), 5)
    one = seconds(lambda: clearance_mm(**place, centre_depth_mm=2.0, tilt_deg=28.6), 20)
    print(f"  one layer {1e3 * one:.3f} ms, {general / one:.0f} x faster than a general optimiser from two starts")
    layers = {"front_layer_mm": 0.0, "behind_layer_mm": 0.0, "furthest_mm": 1.0}
    for draws in (1, 10, 100):
        rooms = np.linspace(3, 4.5, draws)
        work = seconds(lambda r=rooms: fit(**place, room_mm=r, **layers), 3)
        print(f"  {draws:>4} eyes, 91 tilts {1e3 * work:8.1f} ms")


def sweep() -> None:
    """Missing numbers over random eyes."""
    eyes = 100_000
    source = np.random.default_rng(3)
    wide, thick = source.uniform(4.5, 10, eyes), source.uniform(1.5, 7, eyes)
    attacked = attack(
        radius_mm=source.uniform(6.8, 8.8, eyes),
        white_to_white_mm=source.uniform(10, 13, eyes),
        pupil_plane_depth_mm=source.uniform(1.5, 5, eyes),
        port_inside_limbus_mm=source.uniform(0, 2, eyes),
        margin_radius_mm=source.uniform(0.5, 2.9, eyes),
    )
    layer = clearance_mm(
        nucleus_diameter_mm=wide,
        nucleus_thickness_mm=thick,
        dome_radius_mm=source.uniform(6, 8.5, eyes),
        centre_depth_mm=source.uniform(0, 6, eyes),
        tilt_deg=source.uniform(0, 90, eyes),
        sideways_mm=source.uniform(-2, 2, eyes),
    )
    found = (
        layer,
        attacked.angle_deg,
        held_girth_mm(
            nucleus_diameter_mm=wide,
            nucleus_thickness_mm=thick,
            limb_thickness_mm=source.uniform(0, 0.6, eyes),
            limb_half_span_mm=source.uniform(0, 2.2, eyes),
            bar_thickness_mm=source.uniform(0, 0.8, eyes),
        ),
        circle_about_mm(
            clocks=SQUARE,
            reach_mm=source.uniform(0.5, 5, (4, eyes)),
            pupil_mm=source.uniform(1, 9, eyes),
            centre_clock=4,
            centre_offset_mm=source.uniform(0, 3, eyes),
        ),
    )
    missing = sum(int(np.isnan(values).sum()) for values in found)
    print(f"missing numbers in {eyes:,} random eyes, four quantities each: {missing}")


def clock() -> None:
    """Ports on the clock."""
    print("arrangement on the clock")
    choices = default_evidence().reader().constants(PortConstants)
    bleb = (Avoid(1.5, 1.0, "bleb", firm=True),)
    for capsule in ((), (5.0,), (5.0, 7.0), (4.5, 6.0, 7.5), (1.5, 4.5, 7.5, 10.5)):
        wanted = Wanted((12.0, 10.5), 82.0, 11.7, "right", 4, ("square", "diamond"), capsule, 2, 3.0, bleb)
        work = seconds(lambda w=wanted: arrange(wanted=w, constants=choices), 3)
        found = arrange(wanted=wanted, constants=choices)
        print(f"  {len(found.ports):>2} ports {1e3 * work:7.1f} ms, {found.tried} branches, complete {found.complete}")
    places = [[wrap_hour(w + k / 4) for k in range(-4, 5)] for w in SQUARE]
    every = seconds(lambda: sum(apart_deg(p[0], p[1]) >= 15 for p in product(*places)), 1)
    print(f"  all places of four hooks alone, one comparison each: {1e3 * every:.1f} ms, 9 x more with each port more")


def support() -> None:
    """The search for support, every answer anew, and what its rings cost of that; processor time."""
    keys = {"bag_diameter_mm": 10.4, "age_years": 71, "tunnel_clock": 12, "whole_nucleus_by_hand": True}
    for compiled in (False, True):
        if compiled and not fast.start():
            print("search for support, compiled: the compiler is not installed")
            return
        print("search for support" + (", compiled" if compiled else ", numpy"))
        for gap in GAPS:
            payload = {**keys, "zonule": list(gap)}
            work, bare = (
                seconds(lambda p=p: anew(p), 3, clock=process_time) for p in (payload, {**payload, "kinds": RINGLESS})
            )
            rows = support_search_calculation.run(payload).result.rows
            weak = sum(s < 0.5 for s in gap)
            print(
                f"  {weak:>2} weak hours {1e3 * work:7.1f} ms, {len(rows)} supports; {1e3 * (work - bare):.1f} ms of it for rings"
            )


def anew(payload: dict[str, Any]) -> None:
    """The search without what was kept of one before."""
    ringed.cache_clear()
    support_search_calculation.run(payload)


if __name__ == "__main__":
    circles()
    held()
    dome()
    clock()
    sweep()
    support()
