"""Haigis: the plane over chamber depth and length."""

from __future__ import annotations

import pytest

from forestay.optics.lens_constants import AConstant, HaigisConstants
from forestay.optics.lens_model import LensModel, Measured


def test_lens_distance_is_a_plane(models: dict[str, LensModel]) -> None:
    # d = a0 + a1 ACD + a2 L; by hand: -0.769 + 0.234 * 3.1 + 0.217 * 23.5 = 5.0559
    constant = HaigisConstants(a0_mm=-0.769, a1=0.234, a2=0.217)
    eye = models["Haigis"].eye(Measured(23.5, 44.0, 3.1), constant)
    assert eye.lens_distance_mm == pytest.approx(5.0559, abs=1e-12)
    assert eye.optical_length_mm == 23.5
    assert eye.corneal_power_d == pytest.approx(331.5 / (337.5 / 44), abs=1e-9)


def test_standard_constants_from_an_a_constant(models: dict[str, LensModel]) -> None:
    # a0 at A 118.4 is 1.526928 (evidence, head of table 8.1)
    eye = models["Haigis"].eye(Measured(23.5, 44.0, 3.1), AConstant(118.4))
    assert eye.lens_distance_mm == pytest.approx(1.526928 + 0.4 * 3.1 + 0.1 * 23.5, abs=1e-9)


def test_the_back_calculated_constant_has_the_standard_weights(models: dict[str, LensModel]) -> None:
    # evidence 8.2: lens distance 4.81198 at chamber depth 3.1, length 23.5 is a0 1.222
    found = models["Haigis"].constant_of(Measured(23.5, 44.0, 3.1), 4.81198)
    assert isinstance(found, HaigisConstants)
    assert (found.a1, found.a2) == (0.4, 0.1)
    assert found.a0_mm == pytest.approx(1.222, abs=5e-4)
