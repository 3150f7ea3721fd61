"""What the risk engines cost: ``python -m benchmarks.risk``.

Each line is the best of several runs, beside a general-purpose reference doing the same sum, with the ratio of the two.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter
from typing import Any

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm, rv_histogram

from forestay.calc.risk import complication_risk, read_model
from forestay.calc.zonule import ZonularSupportInput, find
from forestay.evidence import default_evidence
from forestay.risk import complication, zonule
from forestay.risk.endothelium import Loss, after_surgery

REPEATS = 7
EYE = {"side": "right", "age_years": 74, "pseudoexfoliation": True, "iridodonesis": True, "dialysis_clock_hours": [6]}
FACTORS = ("glaucoma", "diabetic_retinopathy", "brown_or_white", "no_fundus_view", "pseudoexfoliation", "pupil")


def best_ms(work: Callable[[], Any]) -> float:
    """Shortest of several runs [ms]."""
    times = []
    for _ in range(REPEATS):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return 1000 * min(times)


def line(what: str, own: float, reference: float) -> None:
    """One comparison."""
    print(f"{what:<58} {own:9.3f} ms   reference {reference:9.3f} ms   ratio {own / reference:6.2f}")


def support() -> None:
    """Zonular draws against an inverse histogram of the reference library."""
    found = find(ZonularSupportInput.model_validate(EYE), default_evidence().reader())[0]
    edges = np.array([*found.bands.low[::-1], 1.0 + 1e-9]) * found.all_round
    histogram = rv_histogram((np.array(found.probabilities[::-1]), edges), density=False)
    rng = np.random.default_rng(1)
    for n in (1_000, 8_000, 64_000):
        level_z, hour_z = rng.standard_normal(n), rng.standard_normal((12, n))

        def reference(level_z: Any = level_z, hour_z: Any = hour_z) -> Any:
            level = histogram.ppf(norm.cdf(level_z))
            held = np.asarray(found.held)[:, np.newaxis]
            return np.clip(level + found.irregularity * (1 - level) * hour_z, 0, 1) * held

        def own(level_z: Any = level_z, hour_z: Any = hour_z) -> Any:
            return zonule.support_draws(found, level_z=level_z, hour_z=hour_z)

        line(f"zonular support, {n} draws of 12 hours", best_ms(own), best_ms(reference))


def complications() -> None:
    """The interval of the complication risk against a root finder on the same mixture."""
    model = read_model("uk-2009", default_evidence().reader())[0]
    names = [f.name for f in model.factors]
    for unknown in (0, 3, 6):
        eye = {f.name: f.levels[0] for f in model.factors if f.name not in FACTORS[:unknown]}
        centre, variance, weight = complication._combinations(model, eye)
        sd = np.sqrt(variance)

        def reference(centre: Any = centre, sd: Any = sd, weight: Any = weight) -> Any:
            return [
                brentq(lambda x, p=p: np.sum(weight * norm.cdf((x - centre) / sd)) - p, -30, 30, xtol=1e-6)
                for p in (0.05, 0.95)
            ]

        def own(eye: Any = eye) -> Any:
            return complication.estimate(model, eye, level=0.9)

        size = f"{centre.size} combinations"
        line(f"complication risk, {unknown} of {len(names)} unknown, {size}", best_ms(own), best_ms(reference))
    given = {"model": "uk-2009", "age_years": 74, "sex": "female", "unknown": list(FACTORS)}
    print(f"{'the whole calculation, 6 unknown':<58} {best_ms(lambda: complication_risk.run(given)):9.3f} ms")


def corneas() -> None:
    """Counts after surgery against the reference library's cut by quantiles."""
    loss = Loss(0.18, 0.12, 0.0, 0.8)
    rng = np.random.default_rng(2)
    for n in (1_000, 100_000):
        z = rng.standard_normal(n)

        def reference(z: Any = z) -> Any:
            return 1800 * (1 - np.clip(norm.ppf(norm.cdf(z), loss.mean, loss.sd), loss.least, loss.greatest))

        def own(z: Any = z) -> Any:
            return after_surgery(count_per_mm2=1800, loss_z=z, loss=loss)

        line(f"endothelium, {n} draws", best_ms(own), best_ms(reference))


def main() -> None:
    """Print all comparisons."""
    support()
    complications()
    corneas()


if __name__ == "__main__":
    main()
