"""Power formulas against a general root finder on the same optics: ``python -m benchmarks.lens``.

The reference asks scipy's Brent for the power whose refraction is the target, one eye at a time, through an independent
vergence trace; ours is the closed form, one eye at a time and all eyes at once. Rates are in processor time of one core,
so that other work on the machine does not enter, from the same run, and against the number of eyes. The chance of a small residual astigmatism is set beside scipy's non-central chi-square.
"""

from __future__ import annotations

from time import process_time
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
MANY = 500_000
READER = default_evidence().reader()
OPTICS = READER.constants(VergenceConstants)
CONSTANT = AConstant(118.4)


def traced(cornea: float, length: float, distance: float, power: float) -> float:
    """Spectacle refraction by stepping a vergence back from the retina, written apart from the engine."""
    at_lens = 1336.0 / (length - distance) - power
    at_cornea = 1.336 / (1.336 / at_lens + 0.001 * distance) - cornea
    return at_cornea / (1 + 0.012 * at_cornea)


def one_formula(name: str) -> None:
    """Ours on many eyes, ours one eye at a time, the root finder on a few; and the largest differences between them."""
    model: LensModel = formulas.model(name, READER.constants)
    draw = np.random.default_rng(1)
    lengths, k, depths = draw.uniform(21, 27, MANY), draw.uniform(41, 46, MANY), draw.uniform(2.5, 3.8, MANY)

    def ours(part: Any) -> Any:
        return formulas.power_d(
            model=model,
            axial_length_mm=lengths[part],
            k_d=k[part],
            chamber_depth_mm=depths[part],
            constant=CONSTANT,
            target_d=-0.5,
            vergence_constants=OPTICS,
        )

    def one_at_a_time() -> list[float]:
        return [float(ours(at)) for at in range(REFERENCE_EYES)]

    def reference() -> list[float]:
        found = []
        for at in range(REFERENCE_EYES):
            eye = model.eye(Measured(float(lengths[at]), float(k[at]), float(depths[at])), CONSTANT)
            c, lo, d = float(eye.corneal_power_d), float(eye.optical_length_mm), float(eye.lens_distance_mm)
            found.append(brentq(lambda p, c=c, lo=lo, d=d: traced(c, lo, d, p) + 0.5, -20.0, 60.0, xtol=1e-12))
        return found

    few = slice(REFERENCE_EYES)
    apart = float(np.abs(ours(few) - np.array(reference())).max())
    same = float(np.abs(ours(few) - np.array(one_at_a_time())).max())
    loop = REFERENCE_EYES / seconds(one_at_a_time, 3, clock=process_time)
    slow = REFERENCE_EYES / seconds(reference, 3, clock=process_time)
    rates = {
        count: count / seconds(lambda count=count: ours(slice(count)), 10, clock=process_time)
        for count in (1_000, 100_000, MANY)
    }
    best = rates[MANY]
    print(
        f"{name:<11} eyes/s on one core: root finder {slow:,.0f}; one at a time {loop:,.0f}; "
        + "; ".join(f"{count:,} at once {rate / 1e6:.1f} million" for count, rate in rates.items())
        + f"; {best / slow:,.0f} x the root finder, {best / loop:,.0f} x the loop; "
        + f"apart by {apart:.1e} D and {same:.1e} D"
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
