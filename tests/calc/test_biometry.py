"""ultrasound-length and schematic-eye: contract keys, what is told, errors."""

from __future__ import annotations

import json
from typing import Any, get_args

import pytest

from forestay.calc.biometry import (
    CALCULATIONS,
    EyeName,
    schematic_eye_calculation,
    ultrasound_length_calculation,
)
from forestay.errors import ForestayError, InvalidInput, MissingInput

READING: dict[str, Any] = {
    "measured_mm": 23.5,
    "assumed_velocity_m_s": 1550,
    "eye_state": "aphakic",
    "method": "immersion",
}


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


@pytest.mark.parametrize("row", CALCULATIONS, ids=lambda row: row.name)
def test_the_example_answers_in_plain_json(row: Any) -> None:
    answer = row.run(row.example).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert answer["sources"]


def test_an_aphakic_reading() -> None:
    # evidence on lens power 8.3: 23.50 at 1550 -> 23.227 at 1532
    answer = ultrasound_length_calculation(**READING)
    assert answer.result.axial_length_mm == pytest.approx(23.227, abs=5e-4)
    assert answer.result.sd_mm == 0.10
    assert codes(answer) == {"assumed"}  # the working value of the error, and nothing else


def test_a_contact_reading_of_a_dense_cataract() -> None:
    answer = ultrasound_length_calculation(
        measured_mm=22.4,
        assumed_velocity_m_s=1550,
        eye_state="dense-cataract",
        lens_thickness_mm=4.85,
        method="contact",
    )
    # by hand: 1532 (22.4 / 1550 - 4.85 / 1629) + 4.85 = 22.42867; + 0.20
    assert answer.result.velocity_corrected_mm == pytest.approx(22.42867, abs=5e-6)
    assert answer.result.axial_length_mm == pytest.approx(22.62867, abs=5e-6)
    assert (answer.result.added_back_mm, answer.result.sd_mm) == (0.20, 0.26)
    assert {"contact-compression-added-back", "from-memory"} == codes(answer)


def test_a_missing_lens_thickness_is_told() -> None:
    answer = ultrasound_length_calculation(**{**READING, "eye_state": "phakic"})
    assert answer.result.axial_length_mm == pytest.approx(23.5, abs=1e-12)
    assert "whole-eye-velocity" in codes(answer)


@pytest.mark.parametrize(
    ("change", "failure", "field"),
    [
        ({"lens_thickness_mm": 4.5}, InvalidInput, "lens_thickness_mm"),
        ({"measured_mm": 2.35}, InvalidInput, "measured_mm"),
        ({"measured_mm": 39.0, "assumed_velocity_m_s": 1000}, InvalidInput, "measured_mm"),
        ({"assumed_velocity_m_s": 1.55}, InvalidInput, "assumed_velocity_m_s"),
        ({"eye_state": "pseudophakic"}, MissingInput, "lens_material"),
        ({"method": "optical"}, InvalidInput, "method"),
    ],
)
def test_bad_input_is_one_clear_error(change: dict[str, Any], failure: type[ForestayError], field: str) -> None:
    with pytest.raises(failure) as caught:
        ultrasound_length_calculation.run({**READING, **change})
    assert caught.value.field == field
    assert field in caught.value.message


def test_a_missing_method_is_named() -> None:
    with pytest.raises(MissingInput) as caught:
        ultrasound_length_calculation.run({k: v for k, v in READING.items() if k != "method"})
    assert caught.value.field == "method"


@pytest.mark.parametrize("name", get_args(EyeName))
def test_every_schematic_eye_answers_with_its_own_source(name: str) -> None:
    # published powers (evidence on lens power 2.2): 58.64, 60.49, 59.94, 60.4, 60.35 D
    published = {
        "gullstrand-exact": 58.64,
        "gullstrand-emsley": 60.49,
        "le-grand": 59.94,
        "navarro": 60.4,
        "liou-brennan": 60.35,
    }
    answer = schematic_eye_calculation(eye=name)
    assert answer.result.power_d == pytest.approx(published[name], abs=0.02)
    assert len(answer.sources) == 1
    assert codes(answer) == {"from-memory"}


def test_an_unknown_eye_is_told_the_known_ones() -> None:
    with pytest.raises(InvalidInput, match="liou-brennan") as caught:
        schematic_eye_calculation(eye="mine")
    assert caught.value.field == "eye"
