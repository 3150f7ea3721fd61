"""A lens constant belongs to a length method; where the two differ, the case file is told so."""

from __future__ import annotations

import pytest

from forestay.eye.plausibility import check
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate


@pytest.mark.parametrize(
    ("measured", "constant", "told"),
    [
        ("ultrasound-immersion", "optical", True),
        ("ultrasound-contact", "optical", True),
        ("optical", "optical", False),
        ("ultrasound-immersion", "ultrasound", False),
    ],
)
def test_a_constant_of_another_method_is_a_finding(measured: str, constant: str, told: bool) -> None:
    case = validate(
        CaseFile,
        {
            "person": {"age_years": 70},
            "eye": {"side": "left"},
            "biometry": {"axial_length_mm": 23.4, "axial_length_method": measured},
            "target": {"lens_constant": {"a": 118.4, "method": constant}},
        },
    )
    found = [finding for finding in check(case) if finding.field == "target.lens_constant.method"]
    assert bool(found) is told
