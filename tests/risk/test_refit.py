"""Refitting every coefficient: against a general optimiser, its priors, its weights, and the line of a hundred events."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize

from forestay.calc.own_record import risk_recalibration
from forestay.calc.refit import risk_refit
from forestay.calc.risk import complication_risk, read_model
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.risk import refit as engine


def operations(n: int, *, small: float, base: float) -> list[dict[str, Any]]:
    """Invented operations with a known chance: base, times ``small`` in odds in small pupils."""
    generator = np.random.Generator(np.random.Philox(key=11))
    rows = []
    for i in range(n):
        pupil = "small" if i % 3 == 0 else "large"
        odds = base / (1 - base) * (small if pupil == "small" else 1.0)
        rows.append(
            {
                "age_years": 55.0,
                "sex": "female",
                "pupil": pupil,
                "observed": bool(generator.random() < odds / (1 + odds)),
            }
        )
    return rows


def test_the_highest_point_is_that_of_a_general_optimiser() -> None:
    use = default_evidence().reader()
    model, _ = read_model("uk-2009", use)
    levels = {f.name: f.levels[0] for f in model.factors}
    eyes = [levels | {"pupil": "small"} if i % 3 == 0 else levels for i in range(900)]
    observed = [i % 7 == 0 for i in range(900)]
    found = engine.refit(model, eyes, observed, least_error=0.15, level=0.9)
    design = np.array([engine.design_row(model, eye) for eye in eyes])
    y = np.array(observed, float)
    pairs = [(f, at) for f in model.factors for at in range(1, len(f.levels))]
    mean = np.array([model.intercept, *(math.log(f.odds_ratios[at]) for f, at in pairs)])
    sd = np.array([math.hypot(model.intercept_error, model.surgeon_sd), *(f.log_errors[at] or 0.15 for f, at in pairs)])

    def cost(b: np.ndarray) -> float:
        eta = design @ b
        return float(np.sum(np.logaddexp(0, eta)) - y @ eta + 0.5 * np.sum(((b - mean) / sd) ** 2))

    reference = minimize(cost, mean, method="BFGS", options={"gtol": 1e-7})
    assert found.at == pytest.approx(reference.x, abs=1e-5)


def test_own_operations_move_what_they_have_seen_and_leave_the_rest() -> None:
    told = risk_refit(
        model="uk-2009",
        cases=operations(3000, small=4.0, base=0.08),
        eye={"age_years": 55, "sex": "female", "pupil": "small"},
    )
    by = {(c.name, c.level): c for c in told.result.coefficients}
    small, brown = by["pupil", "small"], by["brown_or_white", "yes"]
    assert small.seen == 1000
    assert brown.seen == 0
    assert brown.refitted == pytest.approx(brown.published)  # never seen: the prior stands
    assert brown.weight == pytest.approx(0.0, abs=1e-9)
    assert small.published < small.refitted < 4.0  # drawn from the published ratio towards the own one
    assert small.weight > 0.5
    # between what is published of such an eye and the own share of events in them: each operation draws, none jumps
    cases = operations(3000, small=4.0, base=0.08)
    share = sum(c["observed"] for c in cases if c["pupil"] == "small") / 1000
    eye = {"age_years": 55, "sex": "female", "pupil": "small"}
    published = complication_risk(model="uk-2009", **eye).result.probability
    assert told.result.probability is not None
    assert published < told.result.probability < share
    assert told.result.probability - published > 0.8 * (share - published)  # 1000 such eyes of one's own weigh most
    assert told.result.expected_refitted == pytest.approx(told.result.events, rel=0.03)
    assert told.result.expected < told.result.events


def test_under_a_hundred_events_it_is_refused_and_the_other_calculation_named() -> None:
    with pytest.raises(InvalidInput, match="risk-recalibration") as caught:
        risk_refit(model="uk-2009", cases=operations(600, small=4.0, base=0.05))
    assert caught.value.field == "cases"
    enough = [{"predicted": 0.1, "observed": i % 5 == 0} for i in range(600)]
    assert "enough-to-refit" in {d.code for d in risk_recalibration(cases=enough).doubts}


def test_the_example_answers() -> None:
    answer = risk_refit.run(risk_refit.example)
    assert answer.result.events >= 100
    assert {"refit-overfits"} <= {d.code for d in answer.doubts}
