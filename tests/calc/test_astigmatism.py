"""induced-astigmatism, astigmatism-centroid and toric: contract keys, order of readings, mirror, errors."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.astigmatism import (
    CALCULATIONS,
    astigmatism_centroid_calculation,
    induced_astigmatism_calculation,
)
from forestay.calc.toric import toric_calculation
from forestay.calc.toric_shelf import toric_from_shelf_calculation
from forestay.errors import ForestayError, InvalidInput, MissingInput
from forestay.frame import mirror_axis, mirror_hour


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


def cornea(steep_d: float, steep_axis: float, mean: float = 43.5) -> dict[str, float]:
    """Readings of an astigmatism at its steep meridian."""
    return {
        "k1_d": mean + steep_d / 2,
        "k1_axis_deg": steep_axis,
        "k2_d": mean - steep_d / 2,
        "k2_axis_deg": (steep_axis + 90) % 180,
    }


@pytest.mark.parametrize("row", CALCULATIONS, ids=lambda row: row.name)
def test_the_example_answers_in_plain_json(row: Any) -> None:
    answer = row.run(row.example).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer


@pytest.mark.parametrize(
    ("before", "after", "magnitude", "axis"),
    [
        # evidence on lens power 8.3 and on incisions 9.1
        ((1.50, 90), (0.75, 80), 0.8356, 8.94),
        ((2.00, 80), (1.25, 110), 1.7500, 150.89),
        ((1.00, 90), (0.50, 180), 1.5000, 180.0),
        ((1.50, 10), (0.75, 30), 1.0435, 86.24),
        ((1.25, 170), (0.50, 160), 0.7987, 86.18),
    ],
)
def test_published_rules_for_the_change(
    before: tuple[float, float], after: tuple[float, float], magnitude: float, axis: float
) -> None:
    result = induced_astigmatism_calculation(before=cornea(*before), after=cornea(*after)).result
    assert result.magnitude_d == pytest.approx(magnitude, abs=1e-4)
    assert result.axis_deg == pytest.approx(axis, abs=0.01)
    assert (result.x_d**2 + result.y_d**2) ** 0.5 == pytest.approx(result.magnitude_d, abs=1e-12)


def test_the_meridional_example() -> None:
    # evidence on incisions 9.1: 44.00@90/43.00@180 -> 43.25@90/43.50@180: 1.25 @ 180, mean change -0.125
    row = induced_astigmatism_calculation
    answer = row.run(row.example)
    assert (answer.result.magnitude_d, answer.result.axis_deg) == (1.25, 180)
    assert answer.result.mean_power_change_d == -0.125
    assert codes(answer) == set()


@settings(deadline=None, derandomize=True)
@given(
    first=st.tuples(st.floats(0.25, 5), st.integers(1, 180)), second=st.tuples(st.floats(0.25, 5), st.integers(1, 180))
)
def test_order_of_readings_changes_nothing_and_the_mirror_only_the_axis(
    first: tuple[float, int], second: tuple[float, int]
) -> None:
    before, after = cornea(*first), cornea(*second)
    here = induced_astigmatism_calculation(before=before, after=after).result

    def swapped(k: dict[str, float]) -> dict[str, float]:
        return {"k1_d": k["k2_d"], "k1_axis_deg": k["k2_axis_deg"], "k2_d": k["k1_d"], "k2_axis_deg": k["k1_axis_deg"]}

    def mirrored(k: dict[str, float]) -> dict[str, float]:
        return {name: mirror_axis(value) if name.endswith("axis_deg") else value for name, value in k.items()}

    other = induced_astigmatism_calculation(before=swapped(before), after=swapped(after)).result
    assert (other.x_d, other.y_d) == pytest.approx((here.x_d, here.y_d), abs=1e-12)
    left = induced_astigmatism_calculation(before=mirrored(before), after=mirrored(after)).result
    assert (left.magnitude_d, left.x_d, left.y_d) == (here.magnitude_d, here.x_d, -here.y_d)


def test_noise_and_skew_are_told() -> None:
    small = induced_astigmatism_calculation(before=cornea(1.0, 90), after=cornea(0.8, 90))
    assert codes(small) == {"change-within-noise"}
    skew = {**cornea(1.0, 90), "k2_axis_deg": 10}
    assert codes(induced_astigmatism_calculation(before=skew, after=cornea(2.0, 180))) == {
        "meridians-not-perpendicular"
    }


@pytest.mark.parametrize(
    ("change", "failure", "field"),
    [
        ({"k2_axis_deg": 85}, InvalidInput, "before.k2_axis_deg"),
        ({"k2_axis_deg": 190}, InvalidInput, "before.k2_axis_deg"),
        ({"k1_d": 7.7}, InvalidInput, "before.k1_d"),
    ],
)
def test_bad_input_is_one_clear_error(change: dict[str, Any], failure: type[ForestayError], field: str) -> None:
    with pytest.raises(failure) as caught:
        induced_astigmatism_calculation(before={**cornea(1.0, 90), **change}, after=cornea(1.0, 90))
    assert caught.value.field == field


def test_a_missing_axis_is_named() -> None:
    with pytest.raises(MissingInput) as caught:
        induced_astigmatism_calculation(before={"k1_d": 43.0, "k1_axis_deg": 90, "k2_d": 44.0}, after=cornea(1, 90))
    assert caught.value.field == "before.k2_axis_deg"


def test_centroid_of_opposite_changes() -> None:
    # by hand: x = 1, -0.5; y = 0: mean 0.25 @ 180, mean magnitude 0.75, variance of x 1.125 (n - 1)
    answer = astigmatism_centroid_calculation(
        vectors=[{"magnitude_d": 1.0, "axis_deg": 180}, {"magnitude_d": 0.5, "axis_deg": 90}]
    )
    result = answer.result
    assert (result.magnitude_d, result.axis_deg, result.mean_magnitude_d) == (0.25, 180, 0.75)
    assert result.covariance == ((1.125, 0.0), (0.0, 0.0))
    assert result.n == 2
    assert codes(answer) == set()
    alone = astigmatism_centroid_calculation(vectors=[{"magnitude_d": 1.0, "axis_deg": 30}])
    assert alone.result.covariance is None
    assert codes(alone) == {"single-vector"}
    with pytest.raises(InvalidInput):
        astigmatism_centroid_calculation(vectors=[])


TORIC: dict[str, Any] = {
    "formula": "Hoffer Q",
    "axial_length_mm": 23.5,
    "k1_d": 43.0,
    "k1_axis_deg": 180,
    "k2_d": 45.0,
    "k2_axis_deg": 90,
    "constant": {"pacd": 5.198688},
    "target_d": 0.0,
    "posterior": "none",
}


def test_toric_by_meridional_powers() -> None:
    answer = toric_calculation(**TORIC)
    result = answer.result
    assert (result.corneal_cylinder_d, result.axis_deg) == (2.0, 90.0)
    # Hoffer Q takes K and length as they are; its lens distance here is 5.18958 mm (evidence 8.2: 5.13958 + 0.05)
    d = 5.18958
    by_hand = [1336 / (23.5 - d) - 1.336 / (1.336 / k - 0.001 * d) for k in (43.0, 45.0)]
    assert result.lens_cylinder_d == pytest.approx(by_hand[0] - by_hand[1], abs=1e-4)
    assert "incision-not-counted" in codes(answer)


def test_toric_counts_the_incision_and_the_back_of_the_cornea() -> None:
    cut = toric_calculation(**TORIC, induced_d=0.5, incision_clock=12)
    assert cut.result.corneal_cylinder_d == pytest.approx(1.5, abs=1e-12)
    assert "incision-not-counted" not in codes(cut)
    # regression, front 1.50 @ 90 -> 0.8810 @ 89.71 (evidence on lens power 8.3, recalled)
    back = toric_calculation(**{**TORIC, "k1_d": 43.25, "k2_d": 44.75, "posterior": "regression"})
    assert back.result.corneal_cylinder_d == pytest.approx(0.8810, abs=1e-4)
    assert back.result.axis_deg == pytest.approx(89.71, abs=0.01)
    assert "from-memory" in codes(back)
    tiny = toric_calculation(**{**TORIC, "k1_d": 43.75, "k2_d": 44.25, "posterior": "regression"})
    assert "cylinder-within-noise" in codes(tiny)


@pytest.mark.parametrize("posterior", ["none", "regression"])
def test_toric_of_the_other_eye(posterior: str) -> None:
    eye = {**TORIC, "k1_axis_deg": 170, "k2_axis_deg": 80, "posterior": "none"}
    other = {**eye, "k1_axis_deg": mirror_axis(170), "k2_axis_deg": mirror_axis(80)}
    here = toric_calculation(**eye, induced_d=0.4, incision_clock=10).result
    there = toric_calculation(**other, induced_d=0.4, incision_clock=mirror_hour(10)).result
    assert there.lens_cylinder_d == here.lens_cylinder_d
    assert there.axis_deg == pytest.approx(mirror_axis(here.axis_deg), abs=1e-12)


@pytest.mark.parametrize(
    ("change", "field"),
    [({"induced_d": 0.5}, "incision_clock"), ({"incision_clock": 12}, "induced_d")],
)
def test_half_an_incision_is_asked_for(change: dict[str, float], field: str) -> None:
    with pytest.raises(MissingInput) as caught:
        toric_calculation(**TORIC, **change)
    assert caught.value.field == field


def test_toric_needs_the_choice_of_posterior() -> None:
    with pytest.raises(MissingInput) as caught:
        toric_calculation(**{k: v for k, v in TORIC.items() if k != "posterior"})
    assert caught.value.field == "posterior"


def test_the_toric_lens_of_the_shelf_leaves_the_least() -> None:
    # K 43/45, lens at 5.2 mm, 23.5 mm: 2.9121 D of lens for 2 D of cornea (evidence 8.3, meridional toric); near linear
    eye = {**toric_from_shelf_calculation.example, "posterior": "none"}
    del eye["induced_d"], eye["incision_clock"]
    told = toric_from_shelf_calculation(**eye)
    assert told.result.corneal_cylinder_d == pytest.approx(2.0)
    assert told.result.axis_deg == pytest.approx(90)
    assert told.result.cylinder_d == 3.0  # of 1.5, 2.25, 3.0 and 3.75
    assert told.result.left_d is not None
    assert abs(told.result.left_d) < 0.15
    assert {"toric-label-is-equivalent", "incision-not-counted"} <= {d.code for d in told.doubts}


def test_a_shelf_whose_cylinders_are_all_too_strong_offers_none() -> None:
    eye = {**toric_from_shelf_calculation.example, "k1_d": 43.9, "k2_d": 44.1, "posterior": "none", "induced_d": 0.0}
    told = toric_from_shelf_calculation(**eye)
    assert told.result.lens is None
    assert "no-toric-on-the-shelf" in {d.code for d in told.doubts}
