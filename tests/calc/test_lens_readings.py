"""compare-lengths and srk-2: what is told of two readings, and that the old regression is marked as history."""

from __future__ import annotations

import math
from typing import Any

import pytest

from forestay.calc.lens_readings import CALCULATIONS, compare_lengths_calculation, srk_2_calculation
from tests.calc.test_lens import codes


def reading(mm: float, method: str) -> dict[str, Any]:
    return {"axial_length_mm": mm, "method": method}


@pytest.mark.parametrize("row", CALCULATIONS, ids=lambda row: row.name)
def test_the_examples_answer(row: Any) -> None:
    assert row.run(row.example).as_dict()["sources"]


def test_light_and_contact_agree_once_the_pressure_is_counted() -> None:
    # evidence 3.3: immersion less contact 0.20 +/- 0.26 mm; error of light 0.03 mm
    told = compare_lengths_calculation(first=reading(23.30, "optical"), second=reading(23.10, "ultrasound-contact"))
    assert told.result.expected_difference_mm == pytest.approx(0.20)
    assert told.result.misfit_mm == pytest.approx(0.0, abs=1e-12)
    assert told.result.spread_mm == pytest.approx(math.hypot(0.03, 0.26))
    assert told.result.agreement == "agree"
    # the weighted mean of equal lengths is that length; 1 / s^2 adds
    assert told.result.together_mm == pytest.approx(23.30)
    assert told.result.together_sd_mm == pytest.approx((1 / 0.03**2 + 1 / 0.26**2) ** -0.5)
    assert "light-on-the-scale-of-immersion" in codes(told)


@pytest.mark.parametrize(
    ("light", "immersion", "agreement"),
    # one SD of the difference is hypot(0.03, 0.10) = 0.1044 mm: 2 SD 0.209, 3 SD 0.313
    [(23.5, 23.30, "agree"), (23.5, 23.28, "note"), (23.5, 23.82, "recheck"), (23.5, 23.18, "recheck")],
)
def test_agreement_by_standard_deviations(light: float, immersion: float, agreement: str) -> None:
    told = compare_lengths_calculation(
        first=reading(light, "optical"), second=reading(immersion, "ultrasound-immersion"), dense_cataract=True
    )
    assert told.result.agreement == agreement
    assert (told.result.together_mm is None) is (agreement == "recheck")  # two that disagree have no mean
    assert "light-through-dense-cataract" in codes(told)
    turned = compare_lengths_calculation(
        first=reading(immersion, "ultrasound-immersion"), second=reading(light, "optical")
    )
    assert turned.result.misfit_mm == pytest.approx(-told.result.misfit_mm)
    assert turned.result.together_mm == told.result.together_mm


def test_the_same_way_twice_is_no_surer_than_once() -> None:
    told = compare_lengths_calculation(
        first=reading(23.0, "ultrasound-contact"), second=reading(23.2, "ultrasound-contact")
    )
    assert told.result.together_sd_mm == pytest.approx(0.26)
    assert "same-way-twice" in codes(told)


def test_an_old_note_is_read_and_marked() -> None:
    told = srk_2_calculation(axial_length_mm=23.5, k1_d=43.5, k2_d=44.5, a=118.4, target_d=0.0)
    assert told.result.plano_power_d == pytest.approx(20.05)  # evidence, table 8.2
    assert {"historical", "from-memory"} <= codes(told)
    assert "near-a-jump" not in codes(told)
    near = srk_2_calculation(axial_length_mm=21.95, k1_d=43.5, k2_d=44.5, a=118.4, target_d=0.0)
    assert "near-a-jump" in codes(near)
