"""Power formulas against a general root finder on the same optics: ``python -m benchmarks.lens_formulas``.

The reference asks scipy's Brent for the power whose refraction is the target, one eye at a time, through an independent
vergence trace; ours is the closed form, all eyes at once. Ratios are from the same run, and cost is shown against the
number of eyes. The chance of a small residual astigmatism is set beside scipy's non-central chi-square.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import brentq
from scipy.stats import ncx2

from benchmarks.measure import seconds
from forestay.evidence import default_evidence
from forestay.optics import astigmatism, formulas
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.vergence import VergenceConstants

REFERENCE_EYES = 200
READER = default_evidence().reader()
OPTICS = READER.constants(VergenceConstants)
CONSTANT = AConstant(118.4)


def traced(cornea: float, length: float, distance: float, power: float) -> float:
    """Spectacle refraction by stepping a vergence back from the retina, written apart from the engine."""
    at_lens = 1336.0 / (length - distance) - power
    at_cornea = 1.336 / (1.336 / at_lens + 0.001 * distance) - cornea
    return at_cornea / (1 + 0.012 * at_cornea)


def one_formula(name: str) -> None:
    """Ours on many eyes, the root finder on a few, and the largest difference between them."""
    model: LensModel = formulas.model(name, READER.constants)
    draw = np.random.default_rng(1)
    lengths, k = draw.uniform(21, 27, 100_000), draw.uniform(41, 46, 100_000)

    def ours(count: int) -> Any:
        return formulas.power_d(
            model=model,
            axial_length_mm=lengths[:count],
            k_d=k[:count],
            chamber_depth_mm=3.1,
            constant=CONSTANT,
            target_d=-0.5,
            vergence_constants=OPTICS,
        )

    def reference() -> list[float]:
        found = []
        for length, power in zip(lengths[:REFERENCE_EYES], k[:REFERENCE_EYES], strict=True):
            eye = model.eye(Measured(float(length), float(power), 3.1), CONSTANT)
            c, lo, d = float(eye.corneal_power_d), float(eye.optical_length_mm), float(eye.lens_distance_mm)
            found.append(brentq(lambda p, c=c, lo=lo, d=d: traced(c, lo, d, p) + 0.5, -20.0, 60.0, xtol=1e-12))
        return found

    apart = float(np.abs(ours(REFERENCE_EYES) - np.array(reference())).max())
    slow = seconds(reference, 3) / REFERENCE_EYES
    costs = {count: seconds(lambda count=count: ours(count), 20) for count in (1, 1_000, 100_000)}
    ratio = slow / (costs[1_000] / 1_000)
    print(
        f"{name:<11} {ratio:8.0f} x faster an eye than the root finder; largest difference {apart:.1e} D; "
        + ", ".join(f"{count:,} eyes {1e3 * cost:.3f} ms" for count, cost in costs.items())
    )


def small_residual() -> None:
    """The rim integral beside scipy."""
    means = np.linspace(0.05, 2.5, 1_000)

    def ours() -> Any:
        return astigmatism.probability_within(mean_d=means, sd_d=0.45, limit_d=1.0)

    def reference() -> Any:
        return ncx2.cdf((1.0 / 0.45) ** 2, 2, (means / 0.45) ** 2)

    apart = float(np.abs(ours() - reference()).max())
    ratio = seconds(reference, 10) / seconds(ours, 10)
    print(f"residual    {ratio:8.2f} x the speed of scipy's distribution, 1,000 means; largest difference {apart:.1e}")


def main() -> None:
    """Print the figures."""
    for name in formulas.FORMULAS:
        one_formula(name)
    small_residual()


if __name__ == "__main__":
    main()
