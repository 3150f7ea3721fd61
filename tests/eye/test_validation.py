"""The range that an error states is that of the field itself, and lists are spoken of as lists."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.bag import bag
from forestay.calc.table import find
from forestay.errors import InvalidInput
from forestay.eye.quantity import allowed
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate

EYE: dict[str, Any] = {"person": {"age_years": 70}, "eye": {"side": "left"}}


def test_a_field_called_like_another_quantity_states_its_own_range() -> None:
    with pytest.raises(InvalidInput) as failure:
        validate(CaseFile, EYE | {"target": {"refraction_d": -30}})
    assert failure.value.allowed == allowed("target_d")
    assert allowed("target_d") != allowed("refraction_d")


@pytest.mark.parametrize(
    ("keys", "field", "words"),
    [
        ({"zonule": [2.0] * 12}, "zonule.0", "0 to 1"),
        ({"zonule": [1.0] * 11}, "zonule", "a list of 12 or more"),
        ({"zonule": [1.0] * 13}, "zonule", "a list of 12 or fewer"),
        ({"zonule": [1.0] * 12, "capsule_hooks": [3, 13]}, "capsule_hooks.1", "0.001 to 12 clock hours"),
        ({"zonule": [1.0] * 12, "load": {"kind": "radial", "clock": 13, "force_mn": 1}}, "load.clock", "clock hours"),
    ],
)
def test_what_is_allowed_in_a_list(keys: dict[str, Any], field: str, words: str) -> None:
    with pytest.raises(InvalidInput) as failure:
        find("bag")(bag_diameter_mm=10.0, **keys)
    assert failure.value.field == field
    assert words in str(failure.value.allowed)
    assert "validation" not in failure.value.message


def test_null_is_absent_where_a_key_may_be_left_out() -> None:
    even = [1.0] * 12
    assert bag(bag_diameter_mm=10.3, zonule=even, segments=None).result == bag(bag_diameter_mm=10.3, zonule=even).result
