"""The compiled solvers of the extra ``fast`` against numpy and scipy in the same run: ``python -m benchmarks.fast``.

Ring query, empty bag and hooks, rigid lens, draws with a ring; ratios against scipy L-BFGS-B on the same energy at the
same error; cost against stations, hooks and draws; and how far the banded factor is from this core's matrix product. With
OPENBLAS_NUM_THREADS=1 in the environment the references do not fight over the cores.
"""

from __future__ import annotations

import os
from time import perf_counter
from typing import Any

import numpy as np
from scipy.optimize import minimize

from benchmarks.bag import CONSTANTS, GAP, RINGS, SPRINGS, disc_energy
from benchmarks.measure import general, seconds
from benchmarks.rim import RIM, SOFT, hooks
from forestay.mechanics import bag as mechanics
from forestay.mechanics import disc, fast
from forestay.mechanics.bag_draws import rest_draws
from forestay.mechanics.bag_model import Bag, Load
from forestay.mechanics.loop_assembly import Assembly

FOUR = (0.0, 0.0, *(1.0,) * 8, 0.0, 0.0)
TRIES = 7


def switched(use: bool) -> None:
    """Compiled or numpy."""
    if use:
        fast.start()
    else:
        fast.stop()


def queries() -> None:
    """One question at a time, set-up included."""
    cases = {
        "ring, gap of three hours": Bag(GAP, SPRINGS, "empty", ring=SOFT),
        "ring, gap and pull": Bag(GAP, SPRINGS, "empty", ring=SOFT, load=Load("radial", 6.0, 1.0)),
        "empty, gap of three hours": Bag(GAP, SPRINGS, "empty"),
        "empty with rim, gap of three hours": Bag(GAP, SPRINGS, "empty", rim=RIM),
        **{f"four hours lost, {n} hooks at the rim": Bag(FOUR, SPRINGS, "empty", rim=RIM, holds=hooks(n)) for n in (2, 3, 4)},
    }  # fmt: skip
    for name, one in cases.items():
        print(name)
        for stations in (72, 144, 288):
            ask = {"bag": one, "constants": CONSTANTS, "ring_constants": RINGS, "stations": stations}
            times = []
            for use in (False, True):
                switched(use)
                mechanics.rest(**ask)
                times.append(seconds(lambda a=ask: mechanics.rest(**a), TRIES))
            print(f"  {stations:4} stations: numpy {times[0] * 1e3:7.2f} ms, compiled {times[1] * 1e3:7.3f} ms")
    against_general(cases["ring, gap of three hours"], 72)


def against_general(one: Bag, stations: int) -> None:
    """L-BFGS-B on the same energy and gradient in numpy, at the error it reaches."""
    chain, start = mechanics.chain_of(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations)
    model = Assembly(chain)
    switched(True)
    ours = seconds(lambda: fast.minimise(model, start_mm=start, force_scale_mn=2.12), 20)
    whole = seconds(lambda: mechanics.rest(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations), 20)
    found = fast.minimise(model, start_mm=start, force_scale_mn=2.12)

    theirs = general(model, start)
    least = theirs.least_seconds
    print(
        f"  L-BFGS-B, {stations} stations: at least {least * 1e3:.0f} ms ({theirs.words(found.at_mm)}):"
        f" {least / ours:.0f} times the solve ({ours * 1e3:.3f} ms, residual {found.residual_mn:.0e} mN),"
        f" {least / whole:.0f} times the whole query ({whole * 1e3:.3f} ms)"
    )


def spread() -> None:
    """Empty bags and hooks over many eyes."""
    switched(True)
    draw = np.random.default_rng(3)
    times: dict[str, list[float]] = {"empty bag": [], "empty bag with rim": [], "hooks at the rim": []}
    missed = 0
    for n in range(300):
        support = draw.uniform(0, 1, 12)
        support[(draw.integers(0, 12) + np.arange(draw.integers(0, 5))) % 12] = 0
        load = Load("radial", 3.0, 1.0) if n % 2 else None
        for name, took in times.items():
            rim = None if name == "empty bag" else RIM
            holds = hooks(3) if name == "hooks at the rim" else ()
            one = Bag(tuple(support), SPRINGS, "empty", load=load, rim=rim, holds=holds)
            begin = perf_counter()
            found = mechanics.rest(bag=one, constants=CONSTANTS, ring_constants=RINGS)
            took.append(perf_counter() - begin)
            missed += not found.converged
    for name, took in times.items():
        middle, high, most = np.percentile(np.array(took) * 1e3, [50, 99, 100])
        print(
            f"{name}, {mechanics.STATIONS} stations, compiled: median {middle:.2f}, 99 % {high:.2f}, longest {most:.2f} ms"
        )
    print(f"  without rest: {missed} of 900")


def draws() -> None:
    """Draws a second, rigid lens and ring."""
    draw = np.random.default_rng(1)
    print(f"rigid lens, 12 fibres, {os.cpu_count()} cores")
    for count in (1_000, 10_000, 100_000, 400_000):
        share, load = draw.uniform(0, 1, (12, count)), 0.5 * draw.normal(size=(3, count))
        ask: dict[str, Any] = {
            "load_x_mn": load[0],
            "load_y_mn": load[1],
            "torque_mn_mm": 5 * load[2],
            "parameters": SPRINGS,
        }
        switched(True)
        quick = seconds(lambda s=share, a=ask: disc.equilibrium(support=s, **a), 3)
        switched(False)
        plain = seconds(lambda s=share, a=ask: disc.equilibrium(support=s, **a), 1)
        print(f"  {count:8,}: compiled {count / quick:12,.0f} a second, numpy {count / plain:12,.0f}")
    options = {"ftol": 1e-15, "gtol": 1e-9, "maxiter": 1000}
    theirs = seconds(
        lambda: [minimize(disc_energy, np.zeros(3), (share[:, n], load[:, n]), jac=True, method="L-BFGS-B", options=options)
                 for n in range(40)], 1) / 40  # fmt: skip
    print(f"  L-BFGS-B: {1 / theirs:,.0f} a second, {theirs / (quick / count):.0f} times slower")
    switched(True)
    print("empty bag, 72 stations, draws side by side")
    for name, ring, load in (
        ("ring", SOFT, None),
        ("ring, pull", SOFT, Load("radial", 3.0, 1.0)),
        ("no ring", None, None),
    ):
        for count in (1_000, 10_000):
            support = draw.uniform(0.3, 1, (12, count))
            first, width = draw.integers(0, 12, count), draw.integers(0, 6, count)
            for n in range(count):
                support[(first[n] + np.arange(width[n])) % 12, n] = 0
            one = Bag((1.0,) * 12, SPRINGS, "empty", ring=ring, load=load)
            scale = draw.uniform(1, 8, count)
            ask = {
                "bag": one,
                "support": support,
                "stiffness_scale": scale,
                "constants": CONSTANTS,
                "ring_constants": RINGS,
            }
            took = seconds(lambda a=ask: rest_draws(**a), 2)
            found = rest_draws(**ask)
            print(
                f"  {name}, {count:6,} draws: {took:.2f} s, {found.iterations.mean():.1f} steps a draw, without rest"
                f" {found.failed} ({found.failed / count:.3%})"
            )


def distance() -> None:
    """The banded factor, alone and side by side, against the core's matrix product."""
    from forestay.mechanics import fast_band, fast_lanes

    switched(True)
    size = 500
    one, other = np.random.default_rng(0).normal(size=(2, size, size))
    product = 2 * size**3 / seconds(lambda: one @ other, 5) / 1e9
    unknowns, half, lanes = 288, fast_lanes.HALF_STEPS, fast_lanes.LANES_CHUNK
    work = unknowns * half * (half + 1)  # multiplications and additions of one factor
    band = np.zeros((unknowns, half + 1))
    band[:, half], band[:, :half] = 20.0, 1.0
    alone = seconds(lambda: fast_band.factor(band, 0.0, np.zeros_like(band)), 50)
    wide = np.repeat(band[..., None], lanes, axis=-1)
    shift, sound, out = np.zeros(lanes), np.zeros(lanes), np.zeros_like(wide)
    fast_lanes.factor(wide, shift, out, sound)
    side = seconds(lambda: fast_lanes.factor(wide, shift, out, sound), 50)
    print(f"matrix product (all cores): {product:.1f} GF/s")
    print(
        f"  factor, one draw: {alone * 1e6:.0f} us, {work / alone / 1e9:.2f} GF/s, 1/{product * alone * 1e9 / work:.0f}"
    )
    print(
        f"  factor, {lanes} draws side by side: {side / lanes * 1e6:.1f} us a draw, {lanes * work / side / 1e9:.2f} GF/s,"
        f" 1/{product * side * 1e9 / work / lanes:.0f}"
    )


if __name__ == "__main__":
    begin = perf_counter()
    if not fast.start():
        raise SystemExit("the extra `fast` is not installed")
    print(f"compiled solvers ready after {perf_counter() - begin:.1f} s")
    queries()
    spread()
    draws()
    distance()
