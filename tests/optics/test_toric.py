"""Toric lens. Expected values: evidence on lens power, sections 6.2, 6.3 and 8.3 (computed there; regression recalled)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from forestay.optics import toric, vergence
from forestay.optics.astigmatism import vector
from forestay.optics.toric import PosteriorConstants
from forestay.optics.vergence import ThinLensEye, VergenceConstants


@pytest.mark.parametrize(
    ("front", "total"),
    [
        ((1.50, 90), (0.8810, 89.71)),
        ((1.50, 180), (1.8970, 0.14)),
        ((1.50, 45), (1.4959, 35.07)),
        ((2.50, 90), (1.8070, 89.86)),
        ((2.50, 10), (2.8018, 8.36)),
    ],
)
def test_the_back_of_the_cornea_by_regression(
    read: Callable[[type[Any]], Any], front: tuple[float, float], total: tuple[float, float]
) -> None:
    found = toric.total_cornea(vector(magnitude_d=front[0], axis_deg=front[1]), constants=read(PosteriorConstants))
    assert found.magnitude_d == pytest.approx(total[0], abs=5.1e-5)
    assert found.axis_deg == pytest.approx(total[1], abs=0.0051)


def test_meridional_powers_and_cylinder(optics: VergenceConstants) -> None:
    flat, steep = (
        vergence.power_d(eye=ThinLensEye(k, 23.5, 5.2), target_d=0.0, constants=optics) for k in (43.0, 45.0)
    )
    assert (flat, steep) == pytest.approx((21.3622, 18.4501), abs=5e-5)
    cylinder = toric.lens_cylinder_d(
        eye=ThinLensEye(44.0, 23.5, 5.2), corneal_cylinder_d=2.0, target_d=0.0, constants=optics
    )
    assert cylinder == pytest.approx(2.9121, abs=5e-5)
    assert cylinder / 2 == pytest.approx(1.4560, abs=6e-5)


@pytest.mark.parametrize(
    ("distance", "k", "ratio"),
    [
        (4.0, 40, 1.291),
        (4.0, 44, 1.326),
        (4.0, 48, 1.364),
        (5.0, 40, 1.383),
        (5.0, 44, 1.433),
        (5.0, 48, 1.486),
        (6.0, 40, 1.486),
        (6.0, 44, 1.553),
        (6.0, 48, 1.625),
    ],
)
def test_ratio_of_a_small_cylinder(optics: VergenceConstants, distance: float, k: float, ratio: float) -> None:
    # 1 / (1 - d K / 1336)^2, whatever the length (evidence 6.3)
    for length in (21.0, 26.0):
        cylinder = toric.lens_cylinder_d(
            eye=ThinLensEye(k, length, distance), corneal_cylinder_d=0.01, target_d=0.0, constants=optics
        )
        assert cylinder / 0.01 == pytest.approx(ratio, abs=5.1e-4)
