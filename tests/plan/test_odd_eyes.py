"""Eyes at the ends of what a case file can hold: nothing holds the lens, the longest length, an impossible constant."""

from __future__ import annotations

import json
from typing import Any

import pytest

from forestay.errors import InvalidInput
from forestay.plan.model import as_dict
from tests.plan.cases import NAMES, changed, planned

NOTHING_HOLDS: tuple[dict[str, Any], ...] = (
    {"signs__subluxated": True},
    {"signs__dialysis_clock_hours": list(range(1, 10))},
    {"signs__dialysis_clock_hours": list(range(1, 13))},
)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("finding", NOTHING_HOLDS, ids=["subluxated", "nine-hours", "all-hours"])
def test_a_lens_that_nothing_holds_is_planned(name: str, finding: dict[str, Any]) -> None:
    everywhere = ["manual-small-incision", "phacoemulsification", "extracapsular", "intracapsular"]
    plan = planned(changed(name, theatre__techniques=everywhere, **finding))
    json.dumps(as_dict(plan), allow_nan=False)
    option = next(o for o in plan.options if o.technique == "intracapsular")
    assert option.measures is not None
    assert not [m.key for m in option.margins if m.key.startswith("zonule-")]  # no manoeuvre spares the zonule


def test_what_goes_into_a_bag_is_not_laid_out_where_lens_and_bag_come_out_together() -> None:
    eye = changed(
        "brown-pseudoexfoliation", signs__subluxated=True, theatre__techniques=["intracapsular", "extracapsular"]
    )
    plan = planned(eye)
    assert plan.chosen.technique == "intracapsular"
    items = " / ".join(item.item for item in plan.kit["items"])
    assert "for the bag" not in items
    assert "for the sulcus" not in items
    assert "tension ring" not in items


@pytest.mark.parametrize("length_mm", [35.5, 35.99, 36.0, 36.5, 40.0])
def test_the_longest_eyes_have_numbers_or_none(length_mm: float) -> None:
    """A formula that does not answer every draw of the length gives no power, and the plan says so."""
    plan = planned(
        changed("long-vitrectomised-only-eye", biometry__axial_length_mm=length_mm, fellow__axial_length_mm=length_mm)
    )
    json.dumps(as_dict(plan), allow_nan=False)
    assert bool(plan.lens.positions) == (length_mm == 35.5)
    assert plan.lens.positions or plan.lens.says


@pytest.mark.parametrize("a", [100.0, 105.0])
def test_a_constant_that_puts_the_lens_before_the_cornea_is_named_as_the_case_file_names_it(a: float) -> None:
    with pytest.raises(InvalidInput) as failure:
        planned(changed("brown-pseudoexfoliation", target__lens_constant={"a": a}))
    assert failure.value.field == "target.lens_constant.a"
    assert failure.value.value == a


@pytest.mark.parametrize(
    "signs",
    [
        {"dialysis_clock_hours": [5.7, 5.3], "glaucoma": False},
        {"dialysis_clock_hours": [2.9, 1.2], "subluxated": False},
        {"dialysis_clock_hours": [3, 4, 5, 6], "phacodonesis": "at-rest"},
    ],
)
def test_every_interval_holds_its_value(signs: dict[str, Any]) -> None:
    plan = planned({"person": {"age_years": 70}, "eye": {"side": "left"}, "signs": signs})
    for option in plan.options:
        for margin in option.margins:
            assert margin.low <= margin.margin <= margin.high, (option.technique, margin.key)


def test_a_field_to_be_measured_again_is_named_once_in_plain_words() -> None:
    plan = planned(changed("brown-pseudoexfoliation", biometry__k1_d=43.25, biometry__k2_d=47.25))
    assert len([c for c in plan.checks if c.level == "recheck" and c.field == "biometry.k1_d"]) > 1
    again = [f for f in plan.decision.first if f.rule == "plausibility"]
    assert [f.do for f in again].count("recheck k1") == 1
    assert not any("biometry." in f.do for f in again)
