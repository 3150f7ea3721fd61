"""incision-astigmatism: published means, drift, the own record weighed in."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.incision import incision_astigmatism_calculation
from forestay.errors import InvalidInput
from tests.calc.test_lens import codes

CUT: dict[str, Any] = {
    "technique": "manual-small-incision",
    "side": "right",
    "centre_clock": 12,
    "shape": "straight",
    "length_mm": 6.5,
}


def test_the_published_mean_and_its_drift() -> None:
    answer = incision_astigmatism_calculation(**CUT)
    result = answer.result
    # sutureless superior, 60 eyes: 1.1 D (evidence on incisions 1.1); day 1 : week 1 : week 6 = 1 : 0.65 : 0.59 (1.6)
    assert (result.flattening_d, result.sd_d, result.own_weight) == (1.1, 0.48, 0.0)
    assert result.day_1_d == pytest.approx(1.1 / 0.59, abs=0.01)
    assert result.week_1_d == pytest.approx(1.1 * 0.65 / 0.59, abs=0.01)
    assert (result.meridian_deg, result.axis_deg) == (90, 0)


def test_the_sides_mirror() -> None:
    right = incision_astigmatism_calculation(**{**CUT, "centre_clock": 9.0}).result
    left = incision_astigmatism_calculation(**{**CUT, "side": "left", "centre_clock": 3.0}).result
    assert right.flattening_d == left.flattening_d


def test_own_eyes_weigh_in_with_their_number() -> None:
    # by hand with t 0.3 D, s 0.5 D: n 40 -> w = 40 * 0.09 / (40 * 0.09 + 0.25) = 0.93506
    own = {"n": 40, "mean_d": 0.6, "sd_d": 0.5}
    result = incision_astigmatism_calculation(**CUT, own=own).result
    assert result.own_weight == pytest.approx(0.93506, abs=5e-6)
    assert result.flattening_d == pytest.approx(1.1 - 0.93506 * 0.5, abs=1e-5)
    assert result.published_d == 1.1


@settings(deadline=None, derandomize=True, max_examples=30)
@given(n=st.integers(1, 5000), mean=st.floats(0.0, 3.0), sd=st.floats(0.05, 2.0))
def test_the_weighed_mean_lies_between_and_more_eyes_weigh_more(n: int, mean: float, sd: float) -> None:
    def ask(count: int) -> Any:
        return incision_astigmatism_calculation(**CUT, own={"n": count, "mean_d": mean, "sd_d": sd}).result

    one, more = ask(n), ask(n + 1)
    low, high = sorted((1.1, mean))
    assert low - 1e-9 <= one.flattening_d <= high + 1e-9
    assert 0 < one.own_weight < more.own_weight < 1


def test_depth_is_shown_and_not_counted() -> None:
    deep = incision_astigmatism_calculation(**CUT, depth_um=420)
    assert "depth-not-counted" in codes(deep)
    assert deep.result == incision_astigmatism_calculation(**CUT).result


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"technique": "laser"}, "kind"),
        ({"side": "both"}, "side"),
        ({"shape": "round"}, "shape"),
        ({"depth_um": 5.0}, "depth_um"),
    ],
)
def test_bad_input_is_named(change: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        incision_astigmatism_calculation(**{**CUT, **change})
    assert caught.value.field == field
