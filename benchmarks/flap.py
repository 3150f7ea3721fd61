"""The push of a whole nucleus: ``python -m benchmarks.flap``.

One rest of the wrinkling skin against L-BFGS-B of scipy, a whole push with growing numbers of rings and falling
stiffness of the zonule, and the table that stands for it in live use.
"""

from __future__ import annotations

from time import perf_counter
from typing import Any

import numpy as np
from scipy.optimize import minimize

from benchmarks.measure import seconds
from forestay.evidence import default_evidence
from forestay.mechanics.flap import FlapConstants, Push, prolapse, settle
from forestay.mechanics.flap_membrane import Skin
from forestay.mechanics.flap_table import prolapse_estimate

CAPSULE = default_evidence().reader().constants(FlapConstants)
MATRIX = 512


def product_speed() -> float:
    """Double-precision matrix product of this core [operations a second]."""
    one = np.random.default_rng(1).standard_normal((MATRIX, MATRIX))
    return 2 * MATRIX**3 / seconds(lambda: one @ one, 5)


def one_rest() -> None:
    """One height of the nucleus from rest."""
    skin = Skin(np.linspace(3.0, 5.0, 25), CAPSULE.thickness_um / 1000, CAPSULE.law)
    push = Push(skin, 4.0, 2.0, 40.0, 6.5)
    flat = np.stack([skin.rest_mm, np.zeros(25)], axis=1)
    height = -1.2
    ours = seconds(lambda: settle(push, flat, height, 0.0), 5)
    found, solved, steps, _ = settle(push, flat, height, 0.0)

    def energy(x: Any) -> tuple[float, Any]:
        value, gradient, _ = push.equations(x.reshape(-1, 2), height)
        return value, gradient.ravel()

    start = perf_counter()
    theirs = minimize(
        energy, flat.ravel(), jac=True, method="L-BFGS-B", options={"maxiter": 20_000, "maxfun": 20_000, "ftol": 0}
    )
    spent = perf_counter() - start
    residual = np.abs(energy(theirs.x)[1]).max()
    apart = np.abs(theirs.x.reshape(-1, 2) - found).max()
    print(f"one height, 24 rings: {1e3 * ours:.1f} ms, {steps} steps, solved {solved}")
    print(
        f"  scipy L-BFGS-B {1e3 * spent:.0f} ms ({spent / ours:.0f} x), residual {residual:.1e} mN, "
        f"{apart:.1e} mm from ours"
    )
    work = steps * (2 * skin.rest_mm.size) ** 3 * (1 / 3 + 2 / 3)
    print(f"  factors and solves run at 1/{product_speed() / (work / ours):.0f} of this core's matrix product")


def pushes() -> None:
    """Whole pushes."""
    print("a whole push, 8 x 4 mm through 6 mm")
    for rings in (12, 24, 48):
        for zonule in (84.8, 20.0, 10.6, 2.5):

            def work(n: int = rings, k: float = zonule) -> Any:
                return prolapse(
                    nucleus_diameter_mm=8.0,
                    nucleus_thickness_mm=4.0,
                    capsulorhexis_mm=6.0,
                    zonule_mn_per_mm=k,
                    constants=CAPSULE,
                    rings=n,
                )

            start = perf_counter()
            found = work()
            spent = perf_counter() - start
            print(
                f"  {rings:3d} rings, zonule {zonule:5.1f} mN/mm: {1e3 * spent:6.0f} ms, {len(found.force_mn)} heights, "
                f"{found.iterations} steps, unsolved {found.unsolved}, push {found.peak_force_mn:.2f} mN, "
                f"drag {found.zonule_stretch_mm:.2f} mm"
            )


def table() -> None:
    """Reading the table."""
    print("read from the table")
    source = np.random.default_rng(3)
    for draws in (1, 1_000, 100_000):
        wide, opening = source.uniform(6.6, 9.4, draws), source.uniform(5, 6.5, draws)
        spent = seconds(
            lambda w=wide, o=opening: prolapse_estimate(
                nucleus_diameter_mm=w,
                nucleus_thickness_mm=0.45 * w,
                capsulorhexis_mm=o,
                zonule_mn_per_mm=10.6,
                constants=CAPSULE,
            ),
            5,
        )
        print(f"  {draws:>7,} draws {1e3 * spent:8.2f} ms")


if __name__ == "__main__":
    one_rest()
    pushes()
    table()
