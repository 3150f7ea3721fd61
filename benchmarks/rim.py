"""The empty bag of two loops, and a sweep of random eyes: ``python -m benchmarks.rim [eyes]``.

The net of equator, flap and margin against scipy L-BFGS-B on the same energy and gradient, in the same run; cost against
stations and hooks; unzipping; and as many random eyes as asked for (100,000 without a number), none of which may answer
with anything but a state and finite numbers.
"""

from __future__ import annotations

import sys
from time import perf_counter, process_time
from typing import Any

import numpy as np

from benchmarks.bag import CONSTANTS, GAP, READER, RINGS, SPRINGS
from benchmarks.measure import general, seconds
from forestay.mechanics import disc, fast
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_draws import rest_draws
from forestay.mechanics.bag_model import Bag, Load, Rim, RimConstants
from forestay.mechanics.disc_limit import limit_torque_mn_mm
from forestay.mechanics.fibres import FibreConstants, sheets
from forestay.mechanics.rim import loops_of
from forestay.mechanics.ring_loop import Ring
from forestay.mechanics.two_loop import TwoLoopAssembly
from forestay.mechanics.unzip import UnzipConstants, scattered, unzip
from forestay.mechanics.zonule import Hold

RIM = Rim(2.75, READER.constants(RimConstants))
SHEETS = sheets(contents="empty", bag_radius_mm=5.0, constants=READER.constants(FibreConstants))
SOFT = Ring(13.0, 0.8162, None)
SWEEP = 100_000
ONE_BY_ONE = 200  # the share of the sweep that goes through the full model with rim, hooks and sheets: 1 in this many


def hooks(count: int) -> tuple[Hold, ...]:
    """Hooks at the rim, spread about 12 o'clock."""
    return tuple(Hold((11.5 + n) % 12 or 12.0, 20.0, 3.75, 0.2, 0.0, "rim") for n in range(count))


def nets() -> None:
    """Cost against stations and hooks."""
    cases = {
        "three hours lost": Bag(GAP, SPRINGS, "empty", rim=RIM),
        "three hours lost, ring": Bag(GAP, SPRINGS, "empty", rim=RIM, ring=SOFT),
        "three hours lost, sheets": Bag(GAP, SPRINGS, "empty", rim=RIM, sheets=SHEETS),
        **{f"four hours lost, {n} hooks": Bag((0.0, 0.0, *(1.0,) * 8, 0.0, 0.0), SPRINGS, "empty", rim=RIM, holds=hooks(n))
           for n in (2, 3, 4)},
    }  # fmt: skip
    for name, one in cases.items():
        print(f"two loops, {name}")
        for stations in (72, 144, 288):
            ask = {"bag": one, "constants": CONSTANTS, "ring_constants": RINGS, "stations": stations}
            ours = seconds(lambda a=ask: rest(**a), 7, clock=process_time)
            found = rest(**ask)
            print(f"  {stations:4} stations: {ours * 1e3:7.2f} ms, {found.iterations} steps, {found.state}")
    against_general(cases["three hours lost, ring"], 72)


def against_general(one: Bag, stations: int) -> None:
    """The same net by a minimiser that knows the gradient only."""
    loops, start = loops_of(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=stations)
    model = TwoLoopAssembly(loops)
    ours = seconds(lambda: fast.minimise(model, start_mm=start, force_scale_mn=2.12), 5)
    found = fast.minimise(model, start_mm=start, force_scale_mn=2.12)
    theirs = general(model, start)
    print(
        f"  L-BFGS-B: {theirs.seconds * 1e3:.0f} ms, {theirs.words(found.at_mm)}:"
        f" {theirs.seconds / ours:.0f} times slower than {ours * 1e3:.1f} ms"
    )


def histories() -> None:
    """Unzipping, without and with a ring."""
    trial = UnzipConstants(1.5, 0.2, 20.0)
    limit = scattered(generator=np.random.default_rng(4), constants=trial)
    for name, ring in (("no ring", None), ("ring", SOFT)):
        one = Bag((0.0, 0.0, *(1.0,) * 10), SPRINGS, "empty", ring=ring)
        ask: dict[str, Any] = {"bag": one, "clock": 2.0, "stroke_mm": (1.0, 2.0, 3.0, 4.0), "limit_mm": limit}
        ask |= {"constants": CONSTANTS, "ring_constants": RINGS, "unzip_constants": trial}
        took = seconds(lambda a=ask: unzip(**a), 3)
        found = unzip(**ask)
        torn = " / ".join(f"{v:.0%}" for v in found.torn_share)
        print(f"unzipping, {name}: {took * 1e3:.0f} ms, {found.solves} solves; 1-4 mm of stroke tear {torn}")


def borne_by_none(support: np.ndarray, load: np.ndarray, beyond: np.ndarray) -> int:
    """How many of the turned eyes lie beyond the limit that the energy sets, worked out without the solver."""
    found = 0
    for clockwise in (True, False):
        some = beyond & ((load[2] < 0) == clockwise)
        limit = limit_torque_mn_mm(
            support=support[:, some], load_x_mn=load[0, some], load_y_mn=load[1, some], clockwise=clockwise,
            parameters=SPRINGS,
        )  # fmt: skip
        found += int((5 * np.abs(load[2, some]) > limit).sum())
    return found


def sweep(eyes: int) -> None:
    """Random eyes: rigid lens, empty bag with and without ring, and some through rim, hooks, sheets and bed."""
    draw = np.random.default_rng(11)
    begin = perf_counter()
    support = draw.uniform(0, 1, (12, eyes)) * (draw.uniform(size=(12, eyes)) > draw.uniform(0, 0.6, eyes))
    load = draw.normal(size=(3, eyes)) * 3
    lens = disc.equilibrium(
        support=support, load_x_mn=load[0], load_y_mn=load[1], torque_mn_mm=5 * load[2], parameters=SPRINGS
    )
    bad = int((~np.isfinite(lens.x_mm + lens.y_mm + lens.tension_mn.sum(axis=0))).sum())
    beyond = lens.state == "overloaded"
    missed = int((~lens.converged & ~beyond & support.any(axis=0)).sum())
    print(
        f"lens in the bag: {eyes:,} eyes, not finite {bad}, without rest {missed}; turned beyond what they bear"
        f" {int(beyond.sum())}, of which the limit says so of {borne_by_none(support, load, beyond)}"
    )
    for ring in (SOFT, None):
        for kind in (None, "radial", "tangential", "torque"):
            part = support[:, : eyes // 8]
            pull = None if kind is None else Load(kind, float(draw.uniform(0.1, 12)), float(draw.uniform(0.1, 3)))
            found = rest_draws(
                bag=Bag((1.0,) * 12, SPRINGS, "empty", ring=ring, load=pull), support=part,
                stiffness_scale=draw.uniform(0.5, 10, part.shape[1]), constants=CONSTANTS, ring_constants=RINGS,
            )  # fmt: skip
            whole = found.x_mm + found.y_mm + found.load_mn.sum(axis=0) + found.peak_stretch_mm
            bad = int((~np.isfinite(whole)).sum())
            words = {str(w): int((found.state == w).sum()) for w in np.unique(found.state)}
            print(
                f"empty bag, {'ring' if ring else 'no ring'}, {kind or 'no load'}: {part.shape[1]:,} eyes, not finite {bad},"
                f" without rest {found.failed} ({found.failed / part.shape[1]:.3%}); {words}"
            )
    bad = missed = turned = 0
    some = max(eyes // ONE_BY_ONE, 1)
    for n in range(some):
        holds = tuple(
            Hold(float(draw.uniform(0.1, 12)), 20.0, 3.75, 0.2, 0.0, "rim") for _ in range(draw.integers(0, 4))
        )
        pull = Load("radial", float(draw.uniform(0.1, 12)), float(draw.uniform(0, 2)), at="rim") if n % 2 else None
        one = Bag(
            tuple(support[:, n]), SPRINGS, "empty", ring=SOFT if n % 3 == 0 else None, holds=holds, load=pull, rim=RIM,
            sheets=SHEETS if n % 5 == 0 else (), bed_mn_per_mm=float(draw.uniform(0, 2)),
        )  # fmt: skip
        state = rest(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=72)
        bad += not np.isfinite([state.x_mm, state.y_mm, state.peak_stretch_mm, *state.load_mn, *state.hold_mn]).all()
        turned += state.state == "overloaded"
        missed += not state.converged and state.state != "overloaded"
    print(f"rim, hooks, sheets, bed: {some:,} eyes, not finite {bad}, without rest {missed}, overloaded {turned}")
    print(f"sweep took {perf_counter() - begin:.0f} s")


if __name__ == "__main__":
    nets()
    histories()
    if "--numpy" not in sys.argv:
        fast.start()
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    sweep(numbers[0] if numbers else SWEEP)
