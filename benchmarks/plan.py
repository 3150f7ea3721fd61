"""How long a plan takes, and how that grows with the number of draws.

Run: ``python -m benchmarks.plan``. The reference in the same run is a general root finder (scipy.optimize.brentq) that
looks up the lens power of one eye per draw, the plainest way to carry a spread through a formula.
"""

from __future__ import annotations

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
from forestay.plan.context import Context
from forestay.plan.draws import Draws
from forestay.plan.estimates import estimate
from forestay.plan.make import make
from forestay.plan.prediction import predictor

REPEATS = 7


def timed(call: Callable[[], object]) -> float:
    """Median time of a call [ms]."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        call()
        times.append(1000 * (time.perf_counter() - start))
    return median(times)


def situation(name: str) -> Situation:
    """A demo case as a situation."""
    return Situation(case=validate(CaseFile, tomllib.loads(demo_bytes(name).decode())))


def main() -> None:
    """Print the table."""
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

    def one_by_one() -> list[float]:
        return [
            brentq(lambda p: eye.refraction_d(power_d=p) + 0.5, 5.0, 35.0, xtol=1e-6)  # type: ignore[misc]
            for _ in range(50)
        ]

    reference = timed(one_by_one) / 50 * draws.count
    print(f"\n1,000 draws through the lens formula: {ours:.2f} ms; by root finder one by one {reference:.0f} ms")
    print(f"ratio {reference / ours:.0f}")


if __name__ == "__main__":
    main()
