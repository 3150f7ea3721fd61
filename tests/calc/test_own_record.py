"""Calculations of the own record: worked figures, weight shown, bad input, and what they do to the risk of an eye."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.own_record import risk_recalibration, surgeon_factor, technique_rate
from forestay.calc.risk import complication_risk
from forestay.errors import ForestayError, InvalidInput

MANUAL = {"technique": "manual-small-incision", "operations": 400, "events": 7, "expected": 4.2}


def test_the_factor_with_its_weight_and_other_spreads() -> None:
    # B1 of the evidence: 1.363 (0.67 to 2.30); shapes for 0.3 and 0.7: 10.62 and 1.58
    result = surgeon_factor(technique="manual-small-incision", records=[MANUAL], probability=0.05).result
    assert result.factor == pytest.approx(1.363, abs=0.0005)
    assert result.weight == pytest.approx(4.2 / (3.52 + 4.2), abs=0.0005)
    assert [t.factor for t in result.tried] == pytest.approx(
        [(10.62 + 7) / (10.62 + 4.2), 1.363, (1.58 + 7) / (1.58 + 4.2)], abs=0.002
    )
    # table of the evidence: 95 % of surgeons, and the median odds ratio, at a spread of 0.3, 0.5 and 0.7
    assert [
        (f"{t.surgeons_low:.2f}", f"{t.surgeons_high:.2f}", f"{t.median_odds_ratio:.2f}") for t in result.tried
    ] == [
        ("0.56", "1.80", "1.33"),
        ("0.38", "2.66", "1.61"),
        ("0.25", "3.94", "1.95"),
    ]
    odds = 1.363 * 0.05 / 0.95
    assert result.probability == pytest.approx(odds / (1 + odds), abs=1e-4)
    assert (result.events, result.expected, result.operations) == (7, 4.2, 400)


def test_technique_rate() -> None:
    # B5 of the evidence: 3 of 250 on a prior of 4.03 and 395
    result = technique_rate(published_rate=0.0101, events=3, operations=250).result
    assert 100 * result.rate == pytest.approx(1.083, abs=0.001)
    assert result.raw == pytest.approx(0.012)
    assert result.prior_operations == pytest.approx(399, abs=0.5)


def test_recalibration_of_few_cases_is_the_factor_alone() -> None:
    cases = [{"predicted": 0.0105, "observed": i < 7} for i in range(400)]
    result = risk_recalibration(cases=cases, probability=0.05).result
    assert result.method == "intercept"
    factor = surgeon_factor(technique="manual-small-incision", records=[MANUAL], probability=0.05).result
    assert result.probability == pytest.approx(factor.probability, rel=1e-6)
    assert result.low < result.probability < result.high


def test_recalibration_of_many_events_refits_the_slope() -> None:
    cases = [
        {"predicted": p, "observed": i % round(1 / q) == 0} for p, q in ((0.02, 0.05), (0.2, 0.25)) for i in range(400)
    ]
    result = risk_recalibration(cases=cases, probability=0.02).result
    assert result.method == "intercept-and-slope"
    assert 0.02 < result.probability < 0.06
    assert 0 < result.weight_slope < 1


def test_an_own_record_moves_the_risk_of_an_eye_and_narrows_it() -> None:
    eye: dict[str, Any] = {"model": "uk-2009", "age_years": 74, "sex": "female"}
    plain = complication_risk(**eye).result
    assert plain.own_factor is None
    record = {"technique": "phacoemulsification", "operations": 2000, "events": 20, "expected": 40.0}
    own = complication_risk(**eye, own_records=[record]).result
    factor = (3.5208 + 20) / (3.5208 + 40)  # gamma(a, a), a = 1 / (exp(0.25) - 1)
    assert own.own_factor == pytest.approx(factor, rel=1e-4)
    assert own.odds == pytest.approx(plain.odds * factor, rel=1e-4)
    assert own.own_weight == pytest.approx(40 / 43.5208, rel=1e-4)
    assert own.high / own.low < plain.high / plain.low


@pytest.mark.parametrize(
    ("calculation", "keys", "field"),
    [
        (surgeon_factor, {"technique": "manual-small-incision", "records": [MANUAL, MANUAL]}, "records.1.technique"),
        (surgeon_factor, {"technique": "manual-small-incision", "records": [{**MANUAL, "events": 500}]}, "records.0"),
        (surgeon_factor, {"technique": "manual-small-incision", "records": []}, "records"),
        (technique_rate, {"published_rate": 0.0, "events": 0, "operations": 10}, "published_rate"),
        (technique_rate, {"published_rate": 0.01, "events": -1, "operations": 10}, "events"),
        (risk_recalibration, {"cases": [{"predicted": 1.0, "observed": True}]}, "cases.0.predicted"),
    ],
)
def test_bad_input_is_one_clear_error(calculation: Any, keys: dict[str, Any], field: str) -> None:
    with pytest.raises(ForestayError) as caught:
        calculation.run(keys)
    assert caught.value.field.startswith(field) if isinstance(caught.value, InvalidInput) else True
