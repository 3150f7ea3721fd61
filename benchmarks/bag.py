"""The bag on its zonule against a general minimiser on the same energy: ``python -m benchmarks.bag``.

The rigid disc, all draws at once, against one scipy L-BFGS-B run a draw; the flexible loop, with its exact Newton steps,
against scipy L-BFGS-B with the same energy and gradient. Ratios are from the same run; cost is shown against draws and
stations.
"""

from __future__ import annotations

from time import perf_counter
from typing import Any

import numpy as np
from scipy.optimize import minimize

from benchmarks.measure import general, seconds
from forestay.evidence import default_evidence
from forestay.mechanics import bag, disc, fast
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.loop_assembly import Assembly
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.zonule import ZonuleParameters, directions

REFERENCE_DRAWS = 40
READER = default_evidence().reader()
CONSTANTS, RINGS = READER.constants(BagConstants), READER.constants(RingConstants)
SPRINGS = ZonuleParameters(5.0, 1.5, 0.2, 10.6, READER.number("zonule.slack_share"))
GAP = (0.0, 0.0, *(1.0,) * 9, 0.0)
OUT_X, OUT_Y = directions(np.arange(12.0))


def disc_energy(unknowns: np.ndarray, share: np.ndarray, load: np.ndarray) -> tuple[float, np.ndarray]:
    """Energy and gradient of one disc (shift and rim), written out again."""
    turn = unknowns[2] / 5
    cos, sin = np.cos(turn), np.sin(turn)
    normal_x, normal_y = OUT_X * cos - OUT_Y * sin, OUT_Y * cos + OUT_X * sin
    reach_x, reach_y = unknowns[0] + 5 * normal_x - 6.5 * OUT_X, unknowns[1] + 5 * normal_y - 6.5 * OUT_Y
    length = np.hypot(reach_x, reach_y)
    stretch = np.maximum(length - 1.3, 0)
    tension = share * 10.6 / 12 * stretch
    pull_x, pull_y = tension * reach_x / length, tension * reach_y / length
    gradient = np.array([pull_x.sum(), pull_y.sum(), (pull_y * normal_x - pull_x * normal_y).sum()])
    return float(0.5 * (tension * stretch).sum() - load @ unknowns), gradient - load


def discs() -> None:
    """Rigid disc: draws a second."""
    print("rigid disc, 12 fibres, random support and load")
    draw = np.random.default_rng(1)
    for draws in (1, 1_000, 8_000, 32_000):
        share, load = draw.uniform(0, 1, (12, draws)), 0.5 * draw.normal(size=(3, draws))
        ask = {"load_x_mn": load[0], "load_y_mn": load[1], "torque_mn_mm": 5 * load[2], "parameters": SPRINGS}
        ours = seconds(lambda s=share, a=ask: disc.equilibrium(support=s, **a), 3)
        print(f"  {draws:7,} draws: {ours * 1e3:8.2f} ms, {ours / draws * 1e6:8.2f} us a draw")
    some = range(REFERENCE_DRAWS)

    def general() -> list[Any]:
        options = {"ftol": 1e-15, "gtol": 1e-9, "maxiter": 1000}
        return [
            minimize(disc_energy, np.zeros(3), (share[:, n], load[:, n]), jac=True, method="L-BFGS-B", options=options)
            for n in some
        ]

    theirs = seconds(general, 1) / REFERENCE_DRAWS
    found = disc.equilibrium(support=share, **ask)
    apart = max(
        np.hypot(found.x_mm[n] - one.x[0], found.y_mm[n] - one.x[1]) for n, one in zip(some, general(), strict=True)
    )
    print(
        f"  L-BFGS-B {theirs * 1e6:.0f} us a draw: {theirs / (ours / draws):.0f} times slower, apart by {apart:.1e} mm"
    )
    print(f"  draws without rest: {int((~found.converged).sum())} of {draws:,}")


def loops() -> None:
    """Flexible loop: one query."""
    cases = {
        "ring, gap of three hours": Bag(GAP, SPRINGS, "empty", ring=Ring(13.0, 0.8162, None)),
        "ring, gap and pull": Bag(GAP, SPRINGS, "empty", Ring(13.0, 0.8162, None), load=Load("radial", 6.0, 1.0)),
        "empty, gap of three hours": Bag(GAP, SPRINGS, "empty"),
    }
    for name, one in cases.items():
        print(f"flexible loop, {name}")
        for stations in (72, 144, 288, 576):
            ask = {"bag": one, "constants": CONSTANTS, "ring_constants": RINGS, "stations": stations}
            ours = seconds(lambda a=ask: bag.rest(**a), 5)
            print(f"  {stations:4} stations: {ours * 1e3:7.2f} ms, {bag.rest(**ask).iterations} steps")
        against_general(one, 72)


def against_general(one: Bag, stations: int) -> None:
    """The same chain by a minimiser that knows the gradient only."""
    chain, start = bag.chain_of(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations)
    ours = seconds(lambda: fast.minimise(Assembly(chain), start_mm=start, force_scale_mn=2.12), 5)
    found = fast.minimise(Assembly(chain), start_mm=start, force_scale_mn=2.12)
    theirs = general(Assembly(chain), start)
    print(
        f"  L-BFGS-B, {stations} stations: {theirs.seconds * 1e3:.0f} ms, {theirs.words(found.at_mm)}:"
        f" {theirs.seconds / ours:.0f} times slower than {ours * 1e3:.2f} ms"
    )


def spread() -> None:
    """How long a query of an empty bag takes over many supports and pulls."""
    draw = np.random.default_rng(3)
    times, steps, missed = [], [], 0
    for n in range(200):
        support = draw.uniform(0, 1, 12)
        support[(draw.integers(0, 12) + np.arange(draw.integers(0, 5))) % 12] = 0
        load = Load("radial", 3.0, 1.0) if n % 2 else None
        one = Bag(tuple(support), SPRINGS, "empty", load=load)
        begin = perf_counter()
        found = bag.rest(bag=one, constants=CONSTANTS, ring_constants=RINGS)
        times.append(perf_counter() - begin)
        steps.append(found.iterations)
        missed += not found.converged
    middle, high, most = np.percentile(np.array(times) * 1e3, [50, 99, 100])
    print(f"empty bags, {bag.STATIONS} stations: median {middle:.1f} ms, 99 % {high:.1f} ms, longest {most:.1f} ms")
    print(f"  steps: median {np.median(steps):.0f}, most {max(steps)}; without rest: {missed} of {len(times)}")


if __name__ == "__main__":
    discs()
    loops()
    spread()
