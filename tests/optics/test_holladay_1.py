"""Holladay 1 step by step. Expected values: evidence on lens power, sections 1.2 and 8.2 (computed independently)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from forestay.optics.holladay_1 import Holladay1Constants, anatomic_depth_mm
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import LensModel, Measured


def test_average_eye(models: dict[str, LensModel], read: Callable[[type[Any]], Any]) -> None:
    depth = anatomic_depth_mm(axial_length_mm=23.5, radius_mm=337.5 / 44, constants=read(Holladay1Constants))
    assert depth == pytest.approx(3.80252, abs=5e-6)
    eye = models["Holladay 1"].eye(Measured(23.5, 44.0, None), AConstant(118.4))
    assert eye.lens_distance_mm == pytest.approx(5.25244, abs=5e-6)
    assert eye.corneal_power_d == pytest.approx(43.45679, abs=5e-6)
    assert eye.optical_length_mm == pytest.approx(23.7, abs=1e-12)


def test_the_chamber_diameter_is_held_from_25_326_mm_and_the_radius_below_7_mm(
    read: Callable[[type[Any]], Any],
) -> None:
    def depth(length: float, radius: float) -> float:
        return float(anatomic_depth_mm(axial_length_mm=length, radius_mm=radius, constants=read(Holladay1Constants)))

    assert depth(25.32, 7.7) < depth(25.327, 7.7) == depth(33.0, 7.7)
    assert depth(23.5, 6.5) == depth(23.5, 7.0) > depth(23.5, 7.1)


def test_there_is_no_cusp(read: Callable[[type[Any]], Any]) -> None:
    # the radicand never falls under 7.0^2 - 6.75^2 = 3.4375 (evidence 1.2: 3.437)
    lengths, radii = np.meshgrid(np.linspace(14, 40, 200), np.linspace(5.6, 11.3, 200))
    depth = anatomic_depth_mm(axial_length_mm=lengths, radius_mm=radii, constants=read(Holladay1Constants))
    rest = 0.56 + np.maximum(radii, 7.0) - depth
    assert (rest**2).min() == pytest.approx(3.4375, abs=1e-9)
