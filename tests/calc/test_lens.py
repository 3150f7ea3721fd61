"""lens-power, lens-refraction, lens-positions and personal-constant: envelope, defaults told, errors, contract keys."""

from __future__ import annotations

import json
from typing import Any, get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.lens import (
    CALCULATIONS,
    lens_positions_calculation,
    lens_power_calculation,
    lens_refraction_calculation,
)
from forestay.calc.lens_input import FormulaName
from forestay.calc.personal_constant import personal_constant_calculation
from forestay.errors import ForestayError, InvalidInput, MissingInput, UnknownKey
from forestay.evidence import default_evidence
from forestay.optics.formulas import FORMULAS

EYE: dict[str, Any] = {
    "formula": "SRK/T",
    "axial_length_mm": 23.5,
    "k1_d": 43.5,
    "k2_d": 44.5,
    "chamber_depth_mm": 3.1,
    "constant": {"a": 118.4},
}


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


def without(key: str, **more: Any) -> dict[str, Any]:
    return {k: v for k, v in EYE.items() if k != key} | more


@pytest.mark.parametrize("row", CALCULATIONS, ids=lambda row: row.name)
def test_the_example_answers_in_plain_json(row: Any) -> None:
    answer = row.run(row.example).as_dict()
    assert set(answer) == {"calculation", "result", "doubts", "sources"}
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert answer["sources"]


def test_the_names_of_the_formulas_are_those_of_the_registry() -> None:
    assert set(get_args(FormulaName)) == set(FORMULAS)


@pytest.mark.parametrize(
    ("formula", "power", "distance"),
    [
        # evidence on lens power, table 8.1, length 23.5 mm, K 44, A 118.4
        ("SRK/T", 20.041, 5.1936),
        ("Holladay 1", 20.010, 5.2524),
        ("Hoffer Q", 19.893, 5.1896),
        ("Haigis", 20.885, 5.1169),
    ],
)
def test_power_and_distance_by_formula(formula: str, power: float, distance: float) -> None:
    result = lens_power_calculation(**{**EYE, "formula": formula}).result
    assert result.power_d == pytest.approx(power, abs=5.1e-4)
    assert result.lens_distance_mm == pytest.approx(distance, abs=5.1e-5)


def test_the_choices_surround_the_power_and_repeat_with_lens_refraction() -> None:
    result = lens_power_calculation(**EYE, target_d=-0.5, step_d=0.25).result
    powers = [choice.power_d for choice in result.choices]
    assert len(powers) >= 3
    assert min(powers) < result.power_d < max(powers)
    assert all((power / 0.25).is_integer() for power in powers)
    assert powers == sorted(powers)
    for choice in result.choices:
        again = lens_refraction_calculation(**EYE, power_d=choice.power_d).result.refraction_d
        assert again == pytest.approx(choice.refraction_d, abs=1e-12)
    exact = lens_refraction_calculation(**EYE, power_d=result.power_d).result.refraction_d
    assert exact == pytest.approx(-0.5, abs=1e-9)


def test_defaults_are_told_and_silent_when_given() -> None:
    taken = {"target-assumed", "step-assumed", "keratometric-index-assumed"}
    assert taken <= codes(lens_power_calculation(**EYE))
    given = lens_power_calculation(**EYE, target_d=0.0, step_d=0.5, keratometric_index=1.3375)
    assert not taken & codes(given)
    assert given.result == lens_power_calculation(**EYE).result


def test_another_keratometric_index_means_another_cornea() -> None:
    # one radius, printed under 1.3375 and under 1.332
    radius = 7.7
    printed = {index: 1000 * (index - 1) / radius for index in (1.3375, 1.332)}
    powers = [
        lens_power_calculation(**{**EYE, "k1_d": k, "k2_d": k}, keratometric_index=index).result.power_d
        for index, k in printed.items()
    ]
    assert powers[0] == pytest.approx(powers[1], abs=1e-9)


def test_a_constant_of_another_kind_is_converted_and_told() -> None:
    # evidence, head of table 8.1: surgeon factor 1.449920 at A 118.4
    factor = lens_power_calculation(**without("constant", constant={"sf": 1.449920}, formula="Holladay 1"))
    from_a = lens_power_calculation(**{**EYE, "formula": "Holladay 1"})
    assert factor.result.power_d == pytest.approx(from_a.result.power_d, abs=1e-6)
    assert "constant-converted" in codes(from_a)
    assert "constant-converted" not in codes(factor)
    haigis = {"a0": 1.526928, "a1": 0.4, "a2": 0.1}
    assert "constant-converted" not in codes(
        lens_power_calculation(**without("constant", constant=haigis, formula="Haigis"))
    )
    assert "constant-converted" in codes(lens_power_calculation(**without("constant", constant=haigis)))


def test_doubts_of_memory_and_limits_reach_the_answer() -> None:
    steep = lens_power_calculation(**{**EYE, "axial_length_mm": 30.0, "k1_d": 47.0, "k2_d": 47.0})
    assert {"srk-t-cusp", "long-eye-not-adjusted", "from-memory"} <= codes(steep)
    assert steep.result.power_d == pytest.approx(-3.992, abs=5.1e-4)  # evidence table 8.1, clamped
    assert "srk-t-cusp" not in codes(lens_power_calculation(**EYE))
    standings = {source["standing"] for source in lens_power_calculation(**EYE).sources}
    assert {"memory", "read", "common practice"} <= standings


@pytest.mark.parametrize(
    ("payload", "failure", "field"),
    [
        (without("chamber_depth_mm", formula="Haigis"), MissingInput, "chamber_depth_mm"),
        (without("constant"), MissingInput, "constant"),
        (without("axial_length_mm"), MissingInput, "axial_length_mm"),
        ({**EYE, "axial_length_mm": 36.5}, InvalidInput, "axial_length_mm"),
        ({**EYE, "axial_length_mm": 44.0}, InvalidInput, "axial_length_mm"),
        ({**EYE, "k1_d": 7.7}, InvalidInput, "k1_d"),
        ({**EYE, "constant": {}}, InvalidInput, "constant"),
        ({**EYE, "constant": {"a": 118.4, "sf": 1.5}}, InvalidInput, "constant"),
        ({**EYE, "constant": {"a0": 1.0, "a1": 0.4}}, InvalidInput, "constant"),
        ({**EYE, "constant": {"a": 11.84}}, InvalidInput, "constant.a"),
        ({**EYE, "formula": "Hoffer Q", "constant": {"pacd": -6.0}}, InvalidInput, "constant"),
        ({**EYE, "formula": "SRK"}, InvalidInput, "formula"),
        ({**EYE, "axial_lenght_mm": 23.5}, UnknownKey, "axial_lenght_mm"),
        ({**EYE, "k1_d": float("nan")}, InvalidInput, "k1_d"),
        ({**EYE, "k1_d": "43.5"}, InvalidInput, "k1_d"),
    ],
)
def test_bad_input_is_one_clear_error(payload: dict[str, Any], failure: type[ForestayError], field: str) -> None:
    with pytest.raises(failure) as caught:
        lens_power_calculation.run(payload)
    assert caught.value.field == field
    assert field.rsplit(".", maxsplit=1)[-1] in caught.value.message or "constant" in caught.value.message


def test_a_power_that_no_spectacle_corrects_is_an_error() -> None:
    absurd = {"formula": "Hoffer Q", "axial_length_mm": 40.0, "k1_d": 60.0, "k2_d": 60.0, "constant": {"a": 110.0}}
    with pytest.raises(InvalidInput, match="no spectacle lens") as caught:
        lens_refraction_calculation(**{**EYE, **absurd}, power_d=60.0)
    assert caught.value.field == "power_d"


def test_a_refraction_beyond_any_met_is_doubted() -> None:
    far = lens_refraction_calculation(**{**EYE, "axial_length_mm": 30.0}, power_d=45.0)
    assert far.result.refraction_d < -40
    assert "refraction-beyond-any-met" in codes(far)
    assert "refraction-beyond-any-met" not in codes(lens_refraction_calculation(**EYE, power_d=20.0))


@pytest.mark.parametrize("formula", FORMULAS)
def test_positions_in_order_with_their_powers(formula: str) -> None:
    given = {**EYE, "formula": formula}
    answer = lens_positions_calculation(**given, axial_length_method="optical")
    rows = {row.position: row for row in answer.result.positions}
    assert list(rows) == [
        "bag",
        "sulcus",
        "optic-capture",
        "scleral",
        "retropupillary-iris",
        "anterior-chamber",
        "aphakia",
    ]
    in_bag = lens_power_calculation(**given).result
    assert rows["bag"].power_d == in_bag.power_d
    assert rows["bag"].choices == in_bag.choices
    assert rows["anterior-chamber"].power_d < rows["retropupillary-iris"].power_d < rows["bag"].power_d
    assert rows["sulcus"].power_d < rows["bag"].power_d == rows["optic-capture"].power_d == rows["scleral"].power_d
    assert rows["sulcus"].lens_distance_mm == pytest.approx(in_bag.lens_distance_mm - 0.5)
    assert rows["sulcus"].refraction_with_bag_power_d < -0.5  # 20 D left unchanged: -0.66 D (evidence 4.2)
    assert all(rows[p].sd_d > rows["bag"].sd_d for p in ("sulcus", "optic-capture", "scleral"))
    assert all(row.note for row in rows.values())


def test_without_a_lens_the_refraction_is_left() -> None:
    answer = lens_positions_calculation(**{**EYE, "formula": "Holladay 1"}, positions=["aphakia"])
    (row,) = answer.result.positions
    assert row.power_d == 0
    assert len(row.choices) == 1
    # evidence on lens power 8.3: cornea 4/3, optical length 23.7 mm, K 44: +11.18 D
    assert row.choices[0].refraction_d == pytest.approx(11.18, abs=0.005)
    assert row.lens_distance_mm is None
    assert "length-method-assumed" in codes(answer)


def test_only_the_positions_asked_for_and_only_their_doubts() -> None:
    few = lens_positions_calculation(**EYE, positions=["sulcus", "bag"])
    assert [row.position for row in few.result.positions] == ["sulcus", "bag"]
    told = " ".join(doubt.message for doubt in few.doubts)
    assert "angle-supported" not in told
    everything = " ".join(doubt.message for doubt in lens_positions_calculation(**EYE).doubts)
    assert "angle-supported" in everything
    with pytest.raises(InvalidInput) as caught:
        lens_positions_calculation(**EYE, positions=["iris"])
    assert caught.value.field == "positions.0"


def test_a_worse_length_widens_every_position() -> None:
    sds = [
        [row.sd_d for row in lens_positions_calculation(**EYE, axial_length_method=method).result.positions]
        for method in ("optical", "ultrasound-immersion", "ultrasound-contact")
    ]
    assert (np.diff(sds, axis=0) > 0).all()


def test_no_spread_in_the_evidence_leaves_none_in_the_answer() -> None:
    evidence = default_evidence()
    still = {key: 0.0 for key in evidence if key.startswith("lens_error.") and isinstance(evidence[key].value, float)}
    still |= {"ultrasound.immersion.sd_mm": 0.0, "lens_error.power_sd_d": (0.0, 0.0, 0.0, 0.0)}
    answer = lens_positions_calculation.run({**EYE, "positions": ["bag"]}, evidence.with_values(still))
    assert answer.result.positions[0].sd_d == 0


CASE = {
    "axial_length_mm": 23.5,
    "k1_d": 44.0,
    "k2_d": 44.0,
    "chamber_depth_mm": 3.1,
    "power_d": 21.0,
    "refraction_d": -0.5,
}


@pytest.mark.parametrize(
    ("formula", "constant"),
    [
        # evidence on lens power, table 8.2, constant back-calculation
        ("SRK/T", {"a": 118.599}),
        ("Holladay 1", {"sf": 1.588}),
        ("Hoffer Q", {"pacd": 5.395}),
        ("Haigis", {"a0": 1.222, "a1": 0.4, "a2": 0.1}),
    ],
)
def test_the_constant_that_explains_one_eye(formula: str, constant: dict[str, float]) -> None:
    answer = personal_constant_calculation(formula=formula, cases=[CASE])
    assert answer.result.constant == pytest.approx(constant, abs=5.1e-4)
    assert answer.result.n == 1
    assert answer.result.sd_d is None
    assert answer.result.within_half == answer.result.within_one == 1
    assert "constant-unshrunk" in codes(answer)
    # with it the eye is predicted as it came
    again = lens_refraction_calculation(
        **{**{k: v for k, v in CASE.items() if k != "refraction_d"}, "formula": formula},
        constant=answer.result.constant,
    )
    assert again.result.refraction_d == pytest.approx(-0.5, abs=1e-9)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(formula=st.sampled_from(list(FORMULAS)), a=st.floats(117.0, 120.0), seed=st.integers(0, 1000))
def test_eyes_made_with_one_constant_give_it_back(formula: str, a: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    cases = []
    for length, k in zip(rng.uniform(22, 25, 5), rng.uniform(42, 46, 5), strict=True):
        eye = {"axial_length_mm": float(length), "k1_d": float(k), "k2_d": float(k), "chamber_depth_mm": 3.1}
        made = lens_refraction_calculation(**eye, formula=formula, constant={"a": a}, power_d=20.0)
        cases.append({**eye, "power_d": 20.0, "refraction_d": made.result.refraction_d})
    found = personal_constant_calculation(formula=formula, cases=cases).result
    assert found.sd_d == pytest.approx(0, abs=1e-8)
    (kind,) = [k for k in ("a", "sf", "pacd", "a0") if k in found.constant]
    if kind == "a":
        assert found.constant["a"] == pytest.approx(a, abs=1e-6)
    assert found.within_half == 1


def test_scatter_of_several_eyes_is_counted() -> None:
    cases = [{**CASE, "refraction_d": r} for r in (-0.5, 0.0, 0.5, -1.5)]
    result = personal_constant_calculation(formula="SRK/T", cases=cases).result
    assert result.n == 4
    assert result.sd_d == pytest.approx(np.std([-0.5, 0.0, 0.5, -1.5], ddof=1), abs=0.01)
    assert (result.within_half, result.within_one) == (0.5, 0.75)


@pytest.mark.parametrize(
    ("change", "failure", "field"),
    [
        ({"refraction_d": 15.0}, InvalidInput, "cases.1.refraction_d"),
        ({"power_d": 0.0}, InvalidInput, "cases.1.refraction_d"),
        ({"axial_length_mm": 36.5}, InvalidInput, "cases.1.axial_length_mm"),
        ({"k1_d": 7.7}, InvalidInput, "cases.1.k1_d"),
    ],
)
def test_the_eye_that_cannot_be_used_is_named(
    change: dict[str, float], failure: type[ForestayError], field: str
) -> None:
    with pytest.raises(failure) as caught:
        personal_constant_calculation(formula="SRK/T", cases=[CASE, {**CASE, **change}])
    assert caught.value.field == field
    with pytest.raises(InvalidInput):
        personal_constant_calculation(formula="SRK/T", cases=[])
