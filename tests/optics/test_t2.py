"""T2. Expected values: evidence on lens power, table 8.2 (computed there independently)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.t2 import T2Constants, corneal_height_mm


@pytest.mark.parametrize(
    ("length", "k", "height", "distance"),
    [
        (21.0, 41.0, 2.0748, 3.9528),
        (23.5, 44.0, 3.2966, 5.1745),
        (26.0, 47.0, 4.5183, 6.3962),
        (30.0, 47.0, 5.8235, 7.7014),
    ],
)
def test_corneal_height_and_lens_distance(
    *,
    models: dict[str, LensModel],
    read: Callable[[type[Any]], Any],
    length: float,
    k: float,
    height: float,
    distance: float,
) -> None:
    found = corneal_height_mm(axial_length_mm=length, k_d=k, constants=read(T2Constants))
    assert found == pytest.approx(height, abs=5.1e-5)
    eye = models["T2"].eye(Measured(length, k, None), AConstant(118.4))
    assert eye.lens_distance_mm == pytest.approx(distance, abs=5.1e-5)


def test_all_but_the_lens_distance_is_that_of_srk_t(models: dict[str, LensModel]) -> None:
    measured = Measured(25.1, 42.7, None)
    mine, other = (models[name].eye(measured, AConstant(118.4)) for name in ("T2", "SRK/T"))
    assert (mine.corneal_power_d, mine.optical_length_mm) == (other.corneal_power_d, other.optical_length_mm)
    assert mine.lens_distance_mm != other.lens_distance_mm
