"""The complication-risk calculation against its worked table, with its defaults and doubts."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.risk import complication_risk, read_model
from forestay.errors import ForestayError, InvalidInput, MissingInput, UnknownKey
from forestay.evidence import default_evidence
from forestay.risk import complication as engine
from forestay.risk.bayes import logistic, odds

WOMAN, MAN = {"sex": "female"}, {"sex": "male"}
# Worked in the evidence from the 2009 odds ratios and a reference risk of 0.75 % (recalled); its eyes R1 to R8:
# composite odds ratio, per cent, per cent with the intercept shifted to the newer rate.
WORKED: list[tuple[str, dict[str, Any], float, float, float]] = [
    ("R1", {**WOMAN, "age_years": 55}, 1.000, 0.75, 0.39),
    ("R2", {**WOMAN, "age_years": 77, "glaucoma": True}, 1.846, 1.38, 0.72),
    ("R3", {**MAN, "age_years": 65, "pseudoexfoliation": True, "long_eye": True, "pupil": "medium"}, 7.140, 5.12, 2.74),
    (
        "R4",
        {
            **MAN,
            "age_years": 91,
            "brown_or_white": True,
            "no_fundus_view": True,
            "cannot_lie_flat": True,
            "alpha_blocker": True,
            "pupil": "large",
        },
        42.79,
        24.43,
        14.42,
    ),
    ("R5", {**MAN, "age_years": 85, "glaucoma": True}, 2.629, 1.95, 1.02),
    (
        "R6",
        {**MAN, "age_years": 75, "pseudoexfoliation": True, "brown_or_white": True, "pupil": "small"},
        23.01,
        14.81,
        8.31,
    ),
    (
        "R7",
        {
            **MAN,
            "age_years": 75,
            "pseudoexfoliation": True,
            "brown_or_white": True,
            "pupil": "small",
            "surgeon_grade": "house-officer",
        },
        85.83,
        39.34,
        25.26,
    ),
    (
        "R8",
        {
            **MAN,
            "age_years": 85,
            "pseudoexfoliation": True,
            "brown_or_white": True,
            "no_fundus_view": True,
            "pupil": "small",
        },
        62.98,
        32.25,
        19.88,
    ),
]
WORST = {
    **MAN,
    "age_years": 95,
    "glaucoma": True,
    "diabetic_retinopathy": True,
    "brown_or_white": True,
    "no_fundus_view": True,
    "pseudoexfoliation": True,
    "pupil": "small",
    "long_eye": True,
    "alpha_blocker": True,
    "cannot_lie_flat": True,
    "surgeon_grade": "house-officer",
}


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


@pytest.mark.parametrize(
    ("eye", "composite", "percent"), [(w[1], w[2], w[3]) for w in WORKED], ids=[w[0] for w in WORKED]
)
def test_the_worked_table(eye: dict[str, Any], composite: float, percent: float) -> None:
    result = complication_risk(model="uk-2009", **eye).result
    assert result.composite_odds_ratio == pytest.approx(composite, rel=0.0005)
    assert 100 * result.probability == pytest.approx(percent, abs=0.01)
    assert result.odds == pytest.approx(result.probability / (1 - result.probability))
    assert 0 < result.low < result.probability < result.high < 1


def test_the_composite_is_the_product_of_the_factors() -> None:
    result = complication_risk(model="uk-2009", **WORKED[5][1]).result
    product = 1.0
    for factor in result.factors:
        product *= factor.odds_ratio
    assert product == pytest.approx(result.composite_odds_ratio)
    assert {f.name for f in result.factors} == {"age", "sex", "pseudoexfoliation", "brown_or_white", "pupil"}


def test_all_worst_levels_are_outside_the_data_and_capped() -> None:
    answer = complication_risk(model="uk-2009", **WORST)
    assert answer.result.composite_odds_ratio == pytest.approx(2105, abs=1)  # R9 of the worked table
    assert 100 * answer.result.uncapped_probability == pytest.approx(94.1, abs=0.05)
    assert answer.result.probability == 0.75
    assert "outside-studied-range" in codes(answer)
    assert "outside-studied-range" not in codes(complication_risk(model="uk-2009", **WORKED[7][1]))


@pytest.mark.parametrize(("eye", "percent"), [(w[1], w[4]) for w in (WORKED[0], WORKED[1], WORKED[4])])
def test_the_updated_model_where_no_ratio_was_replaced(eye: dict[str, Any], percent: float) -> None:
    # eyes without a replaced factor: the shifted column of the worked table
    answer = complication_risk(model="uk-2009-updated", **eye)
    assert 100 * answer.result.probability == pytest.approx(percent, abs=0.01)
    assert "hybrid-model" in codes(answer)


@pytest.mark.parametrize(("eye", "percent"), [(w[1], w[4]) for w in WORKED], ids=[w[0] for w in WORKED])
def test_the_shifted_column_of_the_worked_table(eye: dict[str, Any], percent: float) -> None:
    # the 2009 ratios with the reference eye moved by -0.652 in log odds, as the table was worked: logit shift alone
    before = complication_risk(model="uk-2009", **eye).result.odds
    shift = (0.0101 / 0.9899) / (0.0192 / 0.9808)
    moved = before * shift
    assert 100 * moved / (1 + moved) == pytest.approx(percent, abs=0.01)
    reference = complication_risk(model="uk-2009", age_years=55, sex="female").result.odds
    use = default_evidence().reader()
    model = engine.shifted(read_model("uk-2009", use)[0], rate_before=0.0192, rate_after=0.0101)
    assert odds(logistic(model.intercept)) == pytest.approx(reference * shift)


@pytest.mark.parametrize("eye", [w[1] for w in WORKED], ids=[w[0] for w in WORKED])
def test_the_update_against_the_composites(eye: dict[str, Any]) -> None:
    # composites of the worked table, with 3.47 for 2.92, 2.41 for 2.99 and 3.75 for 3.73 (Sim 2024); the reference eye
    # stays near 0.39 % (R1) since the mix of eyes keeps its rate of 1.01 %
    old, new = (complication_risk(model=m, **eye).result for m in ("uk-2009", "uk-2009-updated"))
    expected = old.composite_odds_ratio
    expected *= 3.47 / 2.92 if eye.get("pseudoexfoliation") else 1
    expected *= 2.41 / 2.99 if eye.get("brown_or_white") else 1
    expected *= 3.75 / 3.73 if eye.get("surgeon_grade") == "house-officer" else 1
    assert new.composite_odds_ratio == pytest.approx(expected)
    assert 100 * new.reference_probability == pytest.approx(0.39, abs=0.01)


def test_the_updated_model_uses_the_newer_ratios() -> None:
    # Sim 2024: 3.47 pseudoexfoliation, 2.41 mature lens, 3.75 least experienced trainee
    result = complication_risk(model="uk-2009-updated", **WORKED[6][1]).result
    found = {f.name: f.odds_ratio for f in result.factors}
    assert found["pseudoexfoliation"] == 3.47
    assert found["brown_or_white"] == 2.41
    assert found["surgeon_grade"] == 3.75


def test_defaults_are_said() -> None:
    answer = complication_risk(model="uk-2009", age_years=70, sex="female")
    assert {"taken-as-absent", "pupil-taken-as-large", "grade-taken-as-consultant"} <= codes(answer)
    told = complication_risk(
        model="uk-2009", **{**WORST, "surgeon_grade": "consultant", "pupil": "large", "glaucoma": False}
    )
    assert codes(told).isdisjoint({"taken-as-absent", "pupil-taken-as-large", "grade-taken-as-consultant"})


def test_unknown_factors_raise_risk_and_interval_and_are_said() -> None:
    known = complication_risk(model="uk-2009", age_years=70, sex="female")
    vague = complication_risk(
        model="uk-2009", age_years=70, sex="female", unknown=["pseudoexfoliation", "brown_or_white", "surgeon_grade"]
    )
    assert vague.result.probability > known.result.probability
    assert vague.result.high - vague.result.low > known.result.high - known.result.low
    assert "averaged-over-mix" in codes(vague)
    assert {f.name for f in vague.result.factors if f.level == "unknown"} == {
        "pseudoexfoliation",
        "brown_or_white",
        "surgeon_grade",
    }


def test_an_unknown_sex_lies_between() -> None:
    found = [
        complication_risk(model="uk-2009", age_years=70, sex=s).result.probability
        for s in ("female", "unknown", "male")
    ]
    assert found == sorted(found)
    assert found[0] < found[1] < found[2]


@pytest.mark.parametrize("grade", ["associate-specialist", "staff-grade"])
def test_career_grades_count_as_consultant_and_say_so(grade: str) -> None:
    answer = complication_risk(model="uk-2009", age_years=70, sex="female", surgeon_grade=grade)
    plain = complication_risk(model="uk-2009", age_years=70, sex="female", surgeon_grade="consultant")
    assert answer.result.probability == pytest.approx(plain.result.probability)
    assert "career-grade-as-consultant" in codes(answer)


@pytest.mark.parametrize(
    ("change", "failure", "field"),
    [
        ({"age_years": 140}, InvalidInput, "age_years"),
        ({"age_years": "74"}, InvalidInput, "age_years"),
        ({"sex": "man"}, InvalidInput, "sex"),
        ({"pupil": "tiny"}, InvalidInput, "pupil"),
        ({"glaucoma": True, "unknown": ["glaucoma"]}, InvalidInput, "unknown"),
        ({"glucoma": True}, UnknownKey, "glucoma"),
        ({"model": None}, ForestayError, "model"),
    ],
)
def test_bad_input_is_one_clear_error(change: dict[str, Any], failure: type[ForestayError], field: str) -> None:
    with pytest.raises(failure) as caught:
        complication_risk.run({"model": "uk-2009", "age_years": 70, "sex": "female", **change})
    assert caught.value.field == field


def test_age_is_compulsory() -> None:
    with pytest.raises(MissingInput):
        complication_risk(model="uk-2009", sex="female")


def test_a_practice_may_change_a_ratio() -> None:
    own = default_evidence().with_values({"complication.odds.pseudoexfoliation": 4.0})
    given = {"model": "uk-2009", **WORKED[5][1]}
    assert complication_risk.run(given, own).result.probability > complication_risk.run(given).result.probability
