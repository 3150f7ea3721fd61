"""The calculations of audit: contract keys, what they warn of, what they refuse."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.audit import funnel_limits, own_rate, rate, risk_adjusted_cusum
from forestay.calc.audit_charts import calibration, learning, measured_chart, prediction_errors, rare_events
from forestay.errors import ForestayError


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


def refused(calculation: Any, keys: dict[str, Any]) -> ForestayError:
    with pytest.raises(ForestayError) as caught:
        calculation.run(keys)
    assert caught.value.field
    assert caught.value.allowed
    return caught.value


def test_a_rate_answers_with_the_share_and_both_intervals() -> None:
    # Newcombe 1998: Wilson 15/148 (from memory); exact by a general library.
    answer = rate.run({"events": 15, "n": 148}).as_dict()
    assert answer["result"]["rate"] == 15 / 148
    assert answer["result"]["wilson"] == pytest.approx([0.0624, 0.1605], abs=5e-5)
    assert answer["result"]["exact"] == pytest.approx([0.057844, 0.161650], abs=1e-6)
    assert {d["code"] for d in answer["doubts"]} == {"level-assumed"}
    assert [s["key"] for s in answer["sources"]] == ["newcombe-1998"]


def test_nothing_seen_is_two_sided_and_not_never() -> None:
    answer = rate.run({"events": 0, "n": 20, "level": 0.95})
    assert answer.result.exact == pytest.approx((0, 0.168433), abs=1e-6)
    assert answer.result.wilson == pytest.approx((0, 0.1611), abs=5e-5)
    assert codes(answer) == {"none-is-not-never"}


def test_more_events_than_cases_is_refused_by_name() -> None:
    for calculation, more in ((rate, {}), (own_rate, {"published_rate": 0.02, "published_weight": 50})):
        wrong = refused(calculation, {"events": 9, "n": 8, **more})
        assert (wrong.field, wrong.value, wrong.allowed) == ("events", 9, "0 to 8")


def test_funnel_limits_by_their_contract_names() -> None:
    answer = funnel_limits.run({"n": 1000, "target": 0.0195})
    assert answer.result.limits_95 == pytest.approx((0.01090, 0.02799), abs=6e-6)
    assert answer.result.limits_998 == pytest.approx((0.00700, 0.03383), abs=6e-6)
    assert codes(answer) == set()
    assert codes(funnel_limits.run({"n": 100, "target": 0.0195})) == {"few-expected"}


def test_the_sum_is_never_reset_and_says_how_often_it_cries_wolf() -> None:
    answer = risk_adjusted_cusum.run(
        {"expected": [0.0195] * 60, "observed": [1] * 4 + [0] * 56, "odds_ratio": 2, "limit": 2.5}
    )
    # By hand: ln 2 - ln(1 + 0.0195) for each event.
    assert answer.result.path[3] == pytest.approx(4 * 0.673835, abs=1e-5)
    assert answer.result.path[4] < answer.result.path[3]
    assert answer.result.path[4] > 2.5
    assert answer.result.signals == (3,)
    assert answer.result.false_alarm_every == pytest.approx(2021, rel=0.01)
    assert answer.result.found_after == pytest.approx(252, rel=0.01)
    assert codes(answer) == {"run-length"}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"observed": [0, 1]}, "observed"),
        ({"odds_ratio": 1}, "odds_ratio"),
        ({"expected": [0.1, 0.0, 0.2]}, "expected.1"),
        ({"observed": [0, 2, 0]}, "observed.1"),
    ],
)
def test_what_the_sum_refuses(change: dict[str, Any], field: str) -> None:
    keys = {"expected": [0.1, 0.1, 0.2], "observed": [0, 1, 0], "odds_ratio": 2, "limit": 3} | change
    assert refused(risk_adjusted_cusum, keys).field == field


def test_an_own_rate_says_how_much_is_own() -> None:
    keys = {"events": 3, "n": 50, "published_rate": 0.0195, "published_weight": 100}
    answer = own_rate.run(keys)
    assert answer.result.rate == pytest.approx(0.033)
    assert answer.result.own_weight == pytest.approx(1 / 3)
    assert own_rate.run({**keys, "events": 0, "n": 0}).result.rate == pytest.approx(0.0195)


def test_few_events_allow_no_curve() -> None:
    answer = calibration.run({"predicted": [0.1, 0.2, 0.3, 0.8], "observed": [0, 0, 1, 1]})
    assert answer.result.brier == pytest.approx(0.145)
    assert codes(answer) == {"few-events", "from-memory"}
    many = calibration.run({"predicted": [0.5] * 400, "observed": [0, 1] * 200})
    assert codes(many) == {"from-memory"}
    assert refused(calibration, {"predicted": [0.1], "observed": [0, 1]}).field == "observed"


def test_errors_and_charts_answer() -> None:
    found = prediction_errors.run({"errors": [-0.62, -0.35, -0.2, -0.1, 0.05, 0.12, 0.25, 0.4, 0.55, 1.2]}).result
    assert found.within == pytest.approx((0.7, 0.9))
    chart = measured_chart.run({"values": [9.45, 7.99, 9.29], "centre": 10, "sd": 1}).result
    assert chart.weighted_mean[:2] == pytest.approx((9.945, 9.7495))
    assert chart.below[1:] == pytest.approx((1.56, 1.77))
    gaps = rare_events.run({"rate": 0.01, "observed": [0, 0, 1, 1]}).result
    assert (gaps.mean, gaps.gaps) == (pytest.approx(99), (2, 0))


def test_a_trainee_is_passed_failed_or_not_yet_known() -> None:
    clean = learning.run({"observed": [0] * 45}).result
    assert (clean.accepted_after, clean.rejected_after, clean.clean_cases) == (41, None, 41)
    bad = learning.run({"observed": [1, 1, 1, 1]}).result
    assert (bad.accepted_after, bad.rejected_after) == (None, 4)
    assert learning.run({"observed": [0] * 10}).result.accepted_after is None
    assert refused(learning, {"observed": [0], "acceptable": 0.2}).field == "acceptable"
