"""Radius and power of the cornea under several indices."""

from __future__ import annotations

import pytest

from forestay.optics.cornea import power_d, radius_mm


@pytest.mark.parametrize(("index", "power"), [(1.3375, 43.831), (4 / 3, 43.290), (1.3315, 43.052)])
def test_one_radius_under_three_indices(index: float, power: float) -> None:
    # evidence on lens power 2.2, radius 7.7 mm
    assert power_d(radius_mm=7.7, index=index) == pytest.approx(power, abs=5e-4)


def test_radius_of_a_keratometer_reading() -> None:
    assert radius_mm(k_d=44.0, index=1.3375) == pytest.approx(7.67045, abs=5e-6)  # evidence 8.2
    assert power_d(radius_mm=radius_mm(k_d=43.3, index=1.3375), index=1.3375) == pytest.approx(43.3, abs=1e-12)
