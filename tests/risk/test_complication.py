"""The logistic model against its worked table and against plain simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.evidence import default_evidence
from forestay.risk import complication as engine
from forestay.risk.bayes import logistic, logit

quick = settings(deadline=None, derandomize=True, max_examples=60)


def read(**changed: float) -> engine.Model:
    use = default_evidence().reader()
    parts = {
        "ratios": use.constants(engine.OddsRatios),
        "spread": use.constants(engine.Spread),
        "mix": use.table("complication.mix"),
        "reference_probability": use.number("complication.reference_probability"),
        "career_grade_odds": use.number("complication.career_grade_used"),
        "cap": use.number("complication.cap"),
    }
    return engine.build(**{**parts, **changed})  # type: ignore[arg-type]


MODEL = read()
REFERENCE = {f.name: f.levels[0] for f in MODEL.factors}
levels = st.fixed_dictionaries({f.name: st.sampled_from(f.levels) for f in MODEL.factors})


@pytest.mark.parametrize(
    ("rate", "shift", "odds_times", "reference_percent"),
    # worked in the evidence: 1.92 to 1.01 % is -0.652, odds x 0.521, reference eye 0.39 %; to 0.87 %: -0.802, x 0.448, 0.34 %
    [(0.0101, "-0.652", "0.521", "0.39"), (0.0087, "-0.802", "0.448", "0.34")],
)
def test_the_shift_in_time(rate: float, shift: str, odds_times: str, reference_percent: str) -> None:
    moved = engine.shifted(MODEL, rate_before=0.0192, rate_after=rate)
    by = moved.intercept - MODEL.intercept
    assert by == pytest.approx(float(shift), abs=0.001)
    assert f"{np.exp(by):.3f}" == odds_times
    assert f"{100 * engine.estimate(moved, REFERENCE, level=0.9).probability:.2f}" == reference_percent


def test_the_reference_risk_is_consistent_with_the_overall_rate() -> None:
    # on the assumed mix the mean is near the published 1.92 % (the evidence works back 0.74 % for 0.75 %)
    assert engine.mean_over_mix(MODEL) == pytest.approx(0.0192, rel=0.02)


def test_solving_for_a_mean_reaches_it() -> None:
    assert engine.mean_over_mix(engine.with_mean(MODEL, 0.0101)) == pytest.approx(0.0101, rel=1e-6)


def test_age_bands_cover_every_age_once() -> None:
    starts = default_evidence().reader().numbers("complication.odds.age_starts_years")
    assert engine.age_bands(starts) == ("under-60", "60-69", "70-79", "80-89", "90-over")
    found = [engine.age_band(age, starts) for age in (59.9, 60, 69.9, 70, 79.9, 80, 89.9, 90, 104)]
    assert found == ["under-60", "60-69", "60-69", "70-79", "70-79", "80-89", "80-89", "90-over", "90-over"]


@quick
@given(eye=levels)
def test_the_interval_is_the_quantile_of_a_logit_normal(eye: dict[str, str]) -> None:
    found = engine.estimate(MODEL, eye, level=0.9)
    at = {f.name: f.levels.index(eye[f.name]) for f in MODEL.factors}
    lp = MODEL.intercept + sum(np.log(f.odds_ratios[at[f.name]]) for f in MODEL.factors)
    variance = (
        MODEL.intercept_error**2 + MODEL.surgeon_sd**2 + sum(f.log_errors[at[f.name]] ** 2 for f in MODEL.factors)
    )
    z = 1.6448536269514722  # 95th centile of the standard normal distribution, handbook value
    assert found.uncapped_probability == pytest.approx(1 / (1 + np.exp(-lp)), rel=1e-12)
    assert found.low == pytest.approx(min(logistic(lp - z * np.sqrt(variance)), found.probability), rel=1e-5)
    assert found.high == pytest.approx(logistic(lp + z * np.sqrt(variance)), rel=1e-5)
    assert 0 < found.low <= found.probability <= found.high < 1
    assert found.probability <= MODEL.cap


def test_an_unknown_factor_is_the_mean_of_its_levels() -> None:
    eye = {name: level for name, level in REFERENCE.items() if name != "pupil"}
    pupil = next(f for f in MODEL.factors if f.name == "pupil")
    mean = sum(
        share * engine.estimate(MODEL, {**eye, "pupil": level}, level=0.9).probability
        for share, level in zip(pupil.mix, pupil.levels, strict=True)
    )
    assert engine.estimate(MODEL, eye, level=0.9).probability == pytest.approx(mean, rel=1e-12)


def test_the_interval_over_unknown_factors_agrees_with_simulation() -> None:
    rng = np.random.default_rng(20)
    n = 200_000
    lp = MODEL.intercept + np.hypot(MODEL.intercept_error, MODEL.surgeon_sd) * rng.standard_normal(n)
    for factor in MODEL.factors:
        drawn = rng.choice(len(factor.levels), size=n, p=factor.mix)
        errors = np.asarray(factor.log_errors)[drawn]
        lp = lp + np.log(factor.odds_ratios)[drawn] + errors * rng.standard_normal(n)
    found = engine.estimate(MODEL, {}, level=0.9)
    low, high = np.quantile(lp, [0.05, 0.95])
    assert logit(found.low) == pytest.approx(low, abs=0.02)
    assert logit(found.high) == pytest.approx(high, abs=0.02)


@quick
@given(eye=levels, flag=st.sampled_from(engine.FLAGS))
def test_a_further_factor_never_lowers_the_risk(eye: dict[str, str], flag: str) -> None:
    without = engine.estimate(MODEL, {**eye, flag: "no"}, level=0.9)
    with_it = engine.estimate(MODEL, {**eye, flag: "yes"}, level=0.9)
    assert with_it.uncapped_probability > without.uncapped_probability
    assert with_it.high > without.high


def test_without_spread_the_interval_closes() -> None:
    sharp = engine.Spread(0.0, 0.0, 0.0, 0.0, ())
    found = engine.estimate(read(spread=sharp), REFERENCE, level=0.9)  # type: ignore[arg-type]
    assert found.low == pytest.approx(found.probability, rel=1e-5)
    assert found.high == pytest.approx(found.probability, rel=1e-5)
    wide = engine.estimate(MODEL, REFERENCE, level=0.9)
    assert wide.low < 0.7 * wide.probability
    assert wide.high > 1.4 * wide.probability
