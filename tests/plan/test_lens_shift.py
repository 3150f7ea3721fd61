"""What the plan says of a bag that does not stay centred: the cost to the lens in it."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.lens_shift import lens_shift_calculation
from forestay.evidence import default_evidence
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from forestay.frame import mirror_axis, mirror_hour
from forestay.plan.lens_shift import DisplacementCost, displacement_cost
from tests.plan.cases import changed, mirrored, planned, raw

CODE = "lens-tilt-from-series"


def asked(data: dict[str, Any] | None = None, **more: Any) -> tuple[DisplacementCost | None, list[str]]:
    given: dict[str, Any] = {
        "axial_length_mm": 23.2,
        "lens_distance_mm": 5.1,
        "power_d": 21.0,
        "displacement_mm": 0.5,
        "displacement_clock": 5.0,
        "weak_zonule": True,
        **more,
    }
    case = validate(CaseFile, data or raw("trauma-gap"))
    found, doubts = displacement_cost(case=case, use=default_evidence().reader(), **given)
    return found, [d.code for d in doubts]


def test_the_cost_is_that_of_the_calculation() -> None:
    found, doubts = asked()
    assert found is not None
    answer = lens_shift_calculation.run(found.inputs.model_dump(exclude_none=True)).result
    assert answer.change is not None
    assert (found.mean_d, found.cylinder_d, found.prism_d) == (
        answer.change.mean_d,
        answer.change.cylinder_d,
        answer.prism_d,
    )
    assert found.tilt_deg == 6.33  # doi 10.2147/OPTH.S344523, 37 eyes at 12 months
    assert CODE in doubts


def test_a_bag_further_off_costs_more() -> None:
    near, far = (asked(displacement_mm=mm)[0] for mm in (0.2, 0.8))
    assert near is not None
    assert far is not None
    assert abs(far.mean_d) > abs(near.mean_d)
    assert far.prism_d > near.prism_d
    assert "0.8 mm" in far.says


@pytest.mark.parametrize(
    "more",
    [
        {"displacement_mm": 0.0, "displacement_clock": None, "weak_zonule": False},
        {"data": changed("trauma-gap", biometry__k1_d=None)},
    ],
)
def test_nothing_is_said_where_there_is_nothing_to_say(more: dict[str, Any]) -> None:
    assert asked(**more) == (None, [])


def test_a_centred_bag_has_no_axis() -> None:
    found, _ = asked(displacement_mm=0.0, displacement_clock=None)
    assert found is not None
    assert found.axis_deg is None
    assert "centred" in found.says


def test_the_plan_says_it_and_the_mirrored_eye_says_the_same() -> None:
    data = raw("trauma-gap")
    one, two = (planned(d) for d in (data, mirrored(data)))
    assert one.lens.displaced is not None
    assert two.lens.displaced is not None
    assert one.lens.displaced["says"] in one.lens.says
    for name in ("displacement_mm", "mean_d", "cylinder_d", "prism_d"):
        assert one.lens.displaced[name] == two.lens.displaced[name]
    clock, axis = one.lens.displaced["displacement_clock"], one.lens.displaced["axis_deg"]
    assert isinstance(clock, float)
    assert isinstance(axis, float)
    assert two.lens.displaced["displacement_clock"] == mirror_hour(clock)
    assert two.lens.displaced["axis_deg"] == mirror_axis(axis)
    assert CODE in {d.code for d in one.doubts}


def test_a_sound_eye_is_left_alone() -> None:
    plan = planned(raw("white-swollen"))
    assert plan.lens.displaced is None
