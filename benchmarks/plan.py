"""How long a plan takes, and how that grows with the number of draws.

Run: ``python -m benchmarks.plan``, with ``--numpy`` without the compiled solvers. First the five demo eyes in a process
that has planned before, as a server's has: an eye not planned yet (an age of its own, so that nothing is remembered of
it), and the same eye again, in CPU time, which other work on the machine disturbs least. The reference in the same run is
a general root finder (scipy.optimize.brentq) that looks up the lens power of one eye per draw, the plainest way to carry a
spread through a formula; it also stands for how fast the machine is at that moment.
"""

from __future__ import annotations

import sys
import time
import tomllib
from collections.abc import Callable
from statistics import median

from scipy.optimize import brentq

from forestay.demo import NAMES, demo_bytes
from forestay.evidence import default_evidence
from forestay.eye.records import CaseFile
from forestay.eye.situation import Situation
from forestay.eye.validation import validate
from forestay.mechanics import fast
from forestay.plan.context import Context
from forestay.plan.draws import Draws
from forestay.plan.estimates import estimate
from forestay.plan.make import make
from forestay.plan.prediction import Predictor, predictor

REPEATS = 7


def timed(call: Callable[[], object]) -> float:
    """Median time of a call [ms]."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        call()
        times.append(1000 * (time.perf_counter() - start))
    return median(times)


def situation(name: str, *, older_years: float = 0.0) -> Situation:
    """A demo case as a situation; ``older_years`` makes another eye of it."""
    told = tomllib.loads(demo_bytes(name).decode())
    told["person"]["age_years"] += older_years
    return Situation(case=validate(CaseFile, told))


def cpu_ms(call: Callable[[], object]) -> float:
    """CPU time of one call, of all threads [ms]."""
    start = time.process_time()
    call()
    return 1000 * (time.process_time() - start)


def fresh_and_again(context: Context) -> None:
    """Eyes not planned before, and planned again: median and worst CPU time, and that over the reference."""
    for name in NAMES:
        make(situation(name), context)
    one = reference_ms()
    print(f"compiled: {fast.in_use()}; one root by the root finder: {one:.2f} ms of CPU")
    print(f"{'case':<30}{'fresh ms':>10}{'worst':>8}{'in roots':>10}{'again ms':>10}{'in roots':>10}")
    for name in NAMES:
        eyes = [situation(name, older_years=0.25 + repeat / 2) for repeat in range(REPEATS)]
        one = reference_ms()
        fresh = [cpu_ms(lambda eye=eye: make(eye, context)) for eye in eyes]
        again = [cpu_ms(lambda eye=eye: make(eye, context)) for eye in eyes]
        one = 0.5 * (one + reference_ms())
        print(
            f"{name:<30}{median(fresh):>10.0f}{max(fresh):>8.0f}{median(fresh) / one:>10.0f}"
            f"{median(again):>10.0f}{median(again) / one:>10.0f}"
        )


ROOTS = 30


def reference_ms() -> float:
    """CPU time of one root by the general root finder [ms]."""
    case = situation("hard-poor-endothelium").case
    use = default_evidence().reader()
    eye = predictor(case, estimate(case, Draws(), use), use)
    if eye is None:
        raise SystemExit("the demo case has lost its biometry")
    return cpu_ms(lambda: [root(eye) for _ in range(ROOTS)]) / ROOTS


def root(eye: Predictor) -> float:
    """The power for half a dioptre of myopia, by the general root finder."""
    return float(brentq(lambda p: eye.refraction_d(power_d=p) + 0.5, 5.0, 35.0, xtol=1e-6))


def main() -> None:
    """Print the tables."""
    if "--numpy" not in sys.argv:
        fast.start()
    fresh_and_again(Context.default())
    if "--fresh" in sys.argv:
        return
    print()
    print(f"{'case':<30}{'first ms':>10}{'warm ms':>10}")
    context = Context.default()
    for name in NAMES:
        here = situation(name)
        start = time.perf_counter()
        make(here, context)
        first = 1000 * (time.perf_counter() - start)
        print(f"{name:<30}{first:>10.0f}{timed(lambda here=here: make(here, context)):>10.0f}")
    print(f"\n{'draws':<10}{'warm ms':>10}")
    here = situation(NAMES[0])
    for draws in (100, 300, 1000, 3000, 10000):
        many = Context(default_evidence(), Draws(draws))
        make(here, many)
        print(f"{draws:<10}{timed(lambda many=many: make(here, many)):>10.0f}")
    _against_root_finder()


def _against_root_finder() -> None:
    case = situation("hard-poor-endothelium").case
    use, draws = default_evidence().reader(), Draws()
    eye = predictor(case, estimate(case, draws, use), use)
    if eye is None:
        raise SystemExit("the demo case has lost its biometry")
    ours = timed(lambda: eye.refraction_draws(power_d=20.0, distance_sd_mm=0.3, draws=draws))

    reference = timed(lambda: [root(eye) for _ in range(ROOTS)]) / ROOTS * draws.count
    print(f"\n1,000 draws through the lens formula: {ours:.2f} ms; by root finder one by one {reference:.0f} ms")
    print(f"ratio {reference / ours:.0f}")


if __name__ == "__main__":
    main()
