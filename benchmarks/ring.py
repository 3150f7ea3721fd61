"""An open ring in contact with the bag against a general minimiser: ``python -m benchmarks.ring``.

One question at several numbers of stations; then scipy's SLSQP on the same kind of problem (ring in a rigid bag, links
of fixed length, hard contact), in the same run; then the ranking of gaps and the search of entries.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

from benchmarks.measure import seconds
from forestay.calc.ring_in_bag import ring_gap, ring_in_bag, ring_threading
from forestay.evidence import default_evidence
from forestay.mechanics import fast
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.open_ring_bag import Setting, rest
from forestay.mechanics.open_ring_model import OpenRingConstants, whole_ring
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.ring_path import thread
from forestay.mechanics.zonule import ZonuleParameters
from tests.mechanics.test_open_ring_solver import general_optimiser

READER = default_evidence().reader()
KINDS = (READER.constants(BagConstants), READER.constants(RingConstants), READER.constants(OpenRingConstants))
SPRINGS = ZonuleParameters(5.0, 1.5, 0.2, 84.8, 0.1)
SEED = 11
BALANCE_LIMIT_MN = 1e-3
"""Forces in an answer balance to this, as the model was accepted: less than a two-thousandth of the whole zonule's pull at
rest (2.1 mN where it is softest)."""
THREE_LOST = (0.0, 0.0, *(1.0,) * 9, 0.0)


def queries() -> None:
    """One question, by stations and by what is in the bag."""
    for contents in ("empty", "lens"):
        bag = Bag(THREE_LOST, SPRINGS, contents)  # type: ignore[arg-type]
        for stations in (48, 72, 144, 288):
            setting = Setting(*KINDS, 0.1, stations)
            one = whole_ring(free_diameter_mm=13.0, closed_diameter_mm=11.0, spring_mn_per_mm=0.8162, gap_clock=12.0)
            found = rest(bag=bag, pieces=(one,), setting=setting)
            took = seconds(lambda b=bag, p=one, s=setting: rest(bag=b, pieces=(p,), setting=s), 3)
            print(f"  {contents}, {stations:3} stations: {took * 1e3:6.1f} ms, {found.bag.iterations} steps")


def against_a_general_optimiser() -> None:
    """Ring in a rigid bag, without friction."""
    one = whole_ring(free_diameter_mm=13.0, closed_diameter_mm=11.0, spring_mn_per_mm=0.8162, gap_clock=6.0)
    bag, setting = Bag((1.0,) * 12, SPRINGS, "lens"), Setting(*KINDS, 0.0, 72)
    ours = seconds(lambda: rest(bag=bag, pieces=(one,), setting=setting), 3)
    found = rest(bag=bag, pieces=(one,), setting=setting)
    for nodes in (61, 81):
        start = perf_counter()
        energy, end, _ = general_optimiser(nodes)
        theirs = perf_counter() - start
        mine = found.energy_mn_mm - 0.5 * 84.8 * 0.2**2
        print(
            f"  SLSQP, {nodes} nodes, bag fixed: {theirs * 1e3:.0f} ms, {theirs / ours:.0f} times {ours * 1e3:.1f} ms (bag "
            f"free to move); energy {energy:.4f} against {mine:.4f} mN mm, end {end:.3f} against "
            f"{found.pieces[0].end_push_mn[0]:.3f} mN"
        )


def sweep(eyes: int, keep: Path | None = None, stations: int = 48) -> Counter[str]:
    """Many random eyes, each with a seed of its own: named states, no number that is not one.

    ``python -m benchmarks.ring EYES [FILE]`` runs this alone; with FILE it goes on where it was stopped.
    """
    counts: Counter[str] = Counter(json.loads(keep.read_text())) if keep is not None and keep.exists() else Counter()
    for eye in range(counts["eyes"], eyes):
        asked = random_eye(np.random.default_rng([SEED, eye]), stations)
        found = rest(**asked)
        counts["eyes"] += 1
        counts[found.state] += 1
        counts["without rest"] += not found.bag.converged
        counts["stiffer wall"] += found.smoothed
        numbers = [found.bag.displacement_mm, found.bag.peak_stretch_mm, found.balance_mn, *found.bag.load_mn]
        counts["not finite"] += not np.isfinite(numbers).all()
        counts["out of balance"] += bool(found.bag.converged and found.balance_mn > BALANCE_LIMIT_MN)
        if counts["eyes"] % 100 == 0 or counts["eyes"] == eyes:
            print(f"  {dict(counts)}", flush=True)
            if keep is not None:
                keep.write_text(json.dumps(counts))
    return counts


def random_eye(draw: np.random.Generator, stations: int) -> dict[str, Any]:
    """A bag with a ring: any support, up to six hours lost, any stiffness, friction and gap."""
    support = draw.uniform(0, 1, 12)
    support[(draw.integers(0, 12) + np.arange(draw.integers(0, 7))) % 12] = 0
    one = whole_ring(
        free_diameter_mm=13.0,
        closed_diameter_mm=11.0,
        spring_mn_per_mm=float(draw.uniform(0.8, 4.5)),
        gap_clock=float(draw.integers(1, 25)) / 2,
    )
    springs = ZonuleParameters(5.0, 1.5, 0.2, float(draw.uniform(10, 90)), 0.1)
    setting = Setting(*KINDS, float(draw.uniform(0.02, 0.3)), stations)
    return {"bag": Bag(tuple(support), springs, "empty"), "pieces": (one,), "setting": setting}


def spread() -> None:
    """Random eyes: how long, how many without rest."""
    draw, times, steps, missed = np.random.default_rng(5), [], [], 0
    for _ in range(150):
        asked = random_eye(draw, 72)
        start = perf_counter()
        found = rest(**asked)
        times.append(perf_counter() - start)
        steps.append(found.bag.iterations)
        missed += not found.bag.converged
    middle, high = np.percentile(np.array(times) * 1e3, [50, 99])
    print(
        f"  72 stations, {len(times)} random eyes: median {middle:.0f} ms, 99 % {high:.0f} ms; steps {np.median(steps):.0f}, "
        f"most {max(steps)}; without rest {missed}"
    )


def calculations() -> None:
    """What a person waits for."""
    bag = Bag(THREE_LOST, SPRINGS, "empty")
    one = whole_ring(free_diameter_mm=13.0, closed_diameter_mm=11.0, spring_mn_per_mm=0.8162, gap_clock=12.0)
    setting = Setting(*KINDS, 0.1, 72)
    took = seconds(lambda: thread(bag=bag, ring=one, entry_clock=6.0, sense="clockwise", setting=setting), 2)
    print(f"  threading, 8 stages: {took * 1e3:.0f} ms")
    for row in (ring_in_bag, ring_gap, ring_threading):
        print(f"  {row.name}: {seconds(lambda r=row: r.run(r.example), 2) * 1e3:.0f} ms")
    every = {key: value for key, value in ring_threading.example.items() if key not in ("entry_clock", "sense")}
    print(f"  ring-threading, every entry: {seconds(lambda: ring_threading.run(every), 1) * 1e3:.0f} ms")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        fast.start()  # where it is installed: the same answers, some ten times as many in a minute
        sweep(int(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)
        raise SystemExit
    queries()
    against_a_general_optimiser()
    spread()
    calculations()
