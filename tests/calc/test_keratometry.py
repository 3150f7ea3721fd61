"""keratometry: millimetres and dioptres, any index, vectors."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.keratometry import keratometry_calculation
from forestay.errors import InvalidInput
from tests.calc.test_lens import codes


@pytest.mark.parametrize(
    ("index", "printed"),
    # evidence on lens power 2.2: radius 7.7 mm under 1.3375, 4/3 and 1.3315
    [(1.3375, 43.831), (4 / 3, 43.290), (1.3315, 43.052)],
)
def test_one_radius_under_three_indices(index: float, printed: float) -> None:
    from_mm = keratometry_calculation(k1_mm=7.7, k2_mm=7.7, keratometric_index=1.3375)
    from_d = keratometry_calculation(k1_d=printed, k2_d=printed, keratometric_index=index)
    assert from_mm.result.mean_d == pytest.approx(43.831, abs=5.1e-4)
    assert from_d.result.k1_mm == pytest.approx(7.7, abs=1e-4)
    assert from_d.result.mean_d == pytest.approx(43.831, abs=1.5e-3)


def test_the_vector_of_two_radii() -> None:
    result = keratometry_calculation(k1_mm=8.0, k1_axis_deg=180.0, k2_mm=7.5, k2_axis_deg=90.0).result
    # 337.5 / 7.5 - 337.5 / 8.0 = 2.8125 D, steep at 90: x negative
    assert result.cylinder_d == pytest.approx(2.8125, abs=1e-9)
    assert (result.x_d, result.y_d, result.steep_axis_deg) == pytest.approx((-2.8125, 0.0, 90.0), abs=1e-9)


def test_the_index_is_assumed_for_powers_alone() -> None:
    assert "keratometric-index-assumed" in codes(keratometry_calculation(k1_d=43.0, k2_d=44.0))
    assert "keratometric-index-assumed" not in codes(keratometry_calculation(k1_mm=7.8, k2_mm=7.6))
    plain = keratometry_calculation(k1_d=43.0, k2_d=44.0).result
    assert (plain.k1_d, plain.k2_d, plain.x_d) == (pytest.approx(43.0), pytest.approx(44.0), None)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"k1_d": 43.0, "k1_mm": 7.8, "k2_d": 44.0}, "k1_d"),
        ({"k1_mm": 7.8}, "k2_d"),
        ({"k1_mm": 43.0, "k2_mm": 7.7}, "k1_mm"),
    ],
)
def test_exactly_one_of_power_and_radius(given: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        keratometry_calculation(**given)
    assert caught.value.field == field
