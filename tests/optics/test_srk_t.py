"""SRK/T step by step. Expected values: evidence on lens power, sections 1.1 and 8.2 (computed there independently)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from forestay.optics import srk_t
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.srk_t import SrkTConstants


@pytest.fixture(scope="module")
def constants(read: Callable[[type[Any]], Any]) -> SrkTConstants:
    found: SrkTConstants = read(SrkTConstants)
    return found


@pytest.mark.parametrize(
    ("length", "k", "corrected", "width", "radicand", "height"),
    [
        (23.5, 44.0, 23.5, 12.62882, 18.96410, 3.31568),
        (26.0, 44.0, 25.14880, 13.59192, None, 4.11366),
        (26.0, 47.0, None, 13.88592, 3.35995, 5.34783),
        (30.0, 47.0, 26.704, 14.79434, -3.15351, 7.18085),  # beyond the cusp the height is the radius
    ],
)
def test_intermediate_steps(
    *,
    constants: SrkTConstants,
    length: float,
    k: float,
    corrected: float | None,
    width: float,
    radicand: float | None,
    height: float,
) -> None:
    radius = 337.5 / k
    if corrected is not None:
        assert srk_t.corrected_length_mm(axial_length_mm=length, constants=constants) == pytest.approx(
            corrected, abs=5e-6
        )
    assert srk_t.corneal_width_mm(axial_length_mm=length, k_d=k, constants=constants) == pytest.approx(width, abs=5e-6)
    if radicand is not None:
        assert srk_t.radicand_mm2(
            axial_length_mm=length, k_d=k, radius_mm=radius, constants=constants
        ) == pytest.approx(radicand, abs=6e-6)
    assert srk_t.corneal_height_mm(
        axial_length_mm=length, k_d=k, radius_mm=radius, constants=constants
    ) == pytest.approx(height, abs=5e-6)


def test_optical_length_corneal_power_and_distance(models: dict[str, LensModel]) -> None:
    eye = models["SRK/T"].eye(Measured(23.5, 44.0, None), AConstant(118.4))
    assert eye.optical_length_mm == pytest.approx(23.68015, abs=5e-6)
    assert eye.corneal_power_d == pytest.approx(43.41333, abs=5e-6)
    assert eye.lens_distance_mm == pytest.approx(5.19360, abs=5e-6)


def test_the_corrected_length_is_continuous_where_it_sets_in(constants: SrkTConstants) -> None:
    # 1.716 gives 24.2015 at 24.2 mm (evidence 1.1)
    beyond = srk_t.corrected_length_mm(axial_length_mm=24.2 + 1e-9, constants=constants)
    assert beyond == pytest.approx(24.2015, abs=5e-5)


@pytest.mark.parametrize(
    ("length", "k"), [(24, 49.98), (25, 48.97), (26, 48.20), (27, 47.52), (28, 46.92), (30, 45.95), (33, 45.03)]
)
def test_the_corneal_power_at_which_the_cusp_is_reached(constants: SrkTConstants, length: float, k: float) -> None:
    def under(k: float) -> float:
        return float(srk_t.radicand_mm2(axial_length_mm=length, k_d=k, radius_mm=337.5 / k, constants=constants))

    assert under(k - 0.01) > 0 > under(k + 0.01)
