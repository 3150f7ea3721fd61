"""Plausibility checks: each rule fires at its limit and not before; wrong units and swaps are one clear sentence."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from forestay.demo import NAMES, demo_bytes
from forestay.errors import ForestayError, InvalidInput, MissingInput, UnknownKey
from forestay.evidence import default_evidence
from forestay.eye.plausibility import LEVELS, check
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate

BASE: dict[str, Any] = {
    "person": {"age_years": 70},
    "eye": {"side": "right"},
    "biometry": {
        "axial_length_mm": 23.5,
        "axial_length_method": "optical",
        "k1_d": 43.5,
        "k1_axis_deg": 0,
        "k2_d": 44.0,
        "k2_axis_deg": 90,
        "chamber_depth_mm": 3.1,
        "lens_thickness_mm": 4.5,
        "white_to_white_mm": 11.7,
    },
    "fellow": {"axial_length_mm": 23.5, "k1_d": 43.5, "k2_d": 44.0, "chamber_depth_mm": 3.1},
}


def case(**fields: Any) -> CaseFile:
    data = {section: dict(table) for section, table in BASE.items()}
    for path, value in fields.items():
        section, key = path.split("__")
        data.setdefault(section, {})[key] = value
    return validate(CaseFile, data)


def found(**fields: Any) -> dict[str, str]:
    worst_last = reversed(check(case(**fields)))
    return {f.field: f.level for f in worst_last}


def test_an_ordinary_eye_has_no_findings() -> None:
    assert found() == {}


# Knox Cartwright 2010 (from memory): < 21.30, > 26.60 mm; K < 41, > 47; K difference > 0.9; cylinder > 2.5; length
# difference > 0.7 mm. Holladay 1988 (from memory): > 0.3 mm. Teaching page: white-to-white outside 10.75 to 13.0 mm.
@pytest.mark.parametrize(
    ("fields", "field", "level"),
    [
        ({"biometry__axial_length_mm": 21.29, "fellow__axial_length_mm": 21.29}, "biometry.axial_length_mm", "note"),
        ({"biometry__axial_length_mm": 26.61, "fellow__axial_length_mm": 26.61}, "biometry.axial_length_mm", "note"),
        ({"fellow__axial_length_mm": 23.81}, "biometry.axial_length_mm", "note"),
        ({"fellow__axial_length_mm": 24.21}, "biometry.axial_length_mm", "recheck"),
        (
            {"biometry__k1_d": 40.9, "biometry__k2_d": 41.2, "fellow__k1_d": 40.9, "fellow__k2_d": 41.2},
            "biometry.k1_d",
            "note",
        ),
        ({"biometry__k2_d": 46.1, "fellow__k2_d": 46.1}, "biometry.k1_d", "recheck"),
        ({"fellow__k1_d": 45.4}, "biometry.k1_d", "recheck"),
        ({"biometry__white_to_white_mm": 10.7}, "biometry.white_to_white_mm", "recheck"),
        ({"biometry__white_to_white_mm": 13.1}, "biometry.white_to_white_mm", "recheck"),
        ({"biometry__k2_axis_deg": 60}, "biometry.k2_axis_deg", "recheck"),
        ({"biometry__k1_axis_deg": 170, "biometry__k2_axis_deg": 10}, "biometry.k2_axis_deg", "recheck"),  # 20 apart
        (
            {"biometry__lens_thickness_mm": 8.9, "biometry__axial_length_mm": 18.0, "fellow__axial_length_mm": 18.0},
            "biometry.lens_thickness_mm",
            "refuse",
        ),
        ({"biometry__k1_d": 30.0, "biometry__k2_d": 59.0}, "biometry.k1_d", "refuse"),
        ({"biometry__axial_length_method": "ultrasound-contact"}, "biometry.axial_length_method", "note"),
        ({"eye__visual_acuity": "NPL", "eye__light_projection": "full"}, "eye.light_projection", "recheck"),
        ({"person__allergies": ["sulfa"]}, "person.allergies", "note"),
        ({"lens__appearance": "white", "signs__fundus_view": True}, "signs.fundus_view", "recheck"),
        (
            {"signs__dialysis_clock_hours": [6], "signs__pupil_dilated_mm": 3.0, "signs__phacodonesis": "none"},
            "signs.dialysis_clock_hours",
            "recheck",
        ),
        (
            {"biometry__axial_length_mm": 27.0, "fellow__axial_length_mm": 27.0, "signs__fundus_view": False},
            "biometry.posterior_segment_scan",
            "recheck",
        ),
    ],
)
def test_a_check_fires(fields: dict[str, Any], field: str, level: str) -> None:
    assert found(**fields).get(field) == level


@pytest.mark.parametrize(
    "fields",
    [
        {"fellow__axial_length_mm": 23.79},
        {"biometry__k2_d": 45.9, "fellow__k2_d": 45.9},
        {"biometry__white_to_white_mm": 12.9},
        {"biometry__k2_axis_deg": 80},
    ],
)
def test_a_check_stays_quiet_below_its_limit(fields: dict[str, Any]) -> None:
    assert found(**fields) == {}


def test_findings_name_value_reason_and_source_worst_first() -> None:
    findings = check(case(fellow__axial_length_mm=24.5, biometry__axial_length_method="ultrasound-contact"))
    assert [f.level for f in findings] == sorted((f.level for f in findings), key=LEVELS.index, reverse=True)
    first = findings[0]
    assert first.value == 23.5
    assert "1.00 mm" in first.why
    assert "Knox Cartwright" in first.source


def test_limits_come_from_rows() -> None:
    stricter = default_evidence().with_values({"plausible.length_difference_note_mm": 0.05})
    assert any(f.key == "length-fellow-note" for f in check(case(fellow__axial_length_mm=23.6), stricter))


@pytest.mark.parametrize("name", NAMES)
def test_demo_cases_need_no_recheck(name: str) -> None:
    findings = check(validate(CaseFile, tomllib.loads(demo_bytes(name).decode())))
    assert not [f for f in findings if f.level != "note"]


@pytest.mark.parametrize(
    ("fields", "field", "says"),
    [
        ({"biometry__k1_d": 7.5}, "biometry.k1_d", "radius in mm: that would be 45.00 D"),
        ({"biometry__axial_length_mm": 2.35}, "biometry.axial_length_mm", "centimetres: that would be 23.5 mm"),
        ({"biometry__axial_length_mm": 44.0}, "biometry.axial_length_mm", "length and K swapped"),
        ({"biometry__k1_d": 23.5}, "biometry.k1_d", "length and K swapped"),
        ({"biometry__corneal_thickness_um": 0.535}, "biometry.corneal_thickness_um", "that would be 535 micrometres"),
        ({"biometry__axial_length_mm": "23,5"}, "biometry.axial_length_mm", "decimal point"),
        ({"biometry__axial_length_mm": -1.0}, "biometry.axial_length_mm", "14 to 40 mm"),
        ({"person__age_years": 200}, "person.age_years", "0 to 120 years"),
        ({"eye__side": "both"}, "eye.side", "'left' or 'right'"),
        ({"signs__phacodonesis": True}, "signs.phacodonesis", "'none', 'after-movement' or 'at-rest'"),
        ({"signs__dialysis_clock_hours": [0]}, "signs.dialysis_clock_hours.0", "clock hours"),
        ({"signs__dialysis_clock_hours": [13]}, "signs.dialysis_clock_hours.0", "clock hours"),
        ({"lens__grade": 6}, "lens.grade", "1 to 5"),
    ],
)
def test_wrong_units_and_impossible_values_are_one_clear_error(fields: dict[str, Any], field: str, says: str) -> None:
    with pytest.raises(InvalidInput) as wrong:
        case(**fields)
    assert wrong.value.field == field
    assert says in wrong.value.message
    assert wrong.value.allowed
    assert "\n" not in wrong.value.message


def test_an_unknown_key_is_refused_with_the_known_ones() -> None:
    with pytest.raises(UnknownKey) as wrong:
        case(signs__phacodonesi="none")
    assert wrong.value.field == "signs.phacodonesi"
    assert "phacodonesis" in (wrong.value.allowed or "")


def test_a_missing_key_is_named() -> None:
    with pytest.raises(MissingInput) as wrong:
        validate(CaseFile, {"person": {"age_years": 70}, "eye": {}})
    assert wrong.value.field == "eye.side"


@pytest.mark.parametrize("data", [None, [], "text", 3, {"person": 3}])
def test_other_shapes_are_errors_of_ours(data: Any) -> None:
    with pytest.raises(ForestayError):
        validate(CaseFile, data)
