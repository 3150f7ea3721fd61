"""The dilution and anaesthetic-limit calculations, with what they warn of."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.dosing import anaesthetic_limit, dilution
from forestay.errors import ForestayError, InvalidInput, MissingInput


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


@pytest.mark.parametrize(
    ("keys", "final", "dose"),
    [
        # worked preparations of the evidence
        ({"stock_mg_per_ml": 40, "stock_ml": 3, "diluent_ml": 13, "given_ml": 1}, 7.5, 7.5),
        ({"stock_mg_per_ml": 1, "stock_ml": 4, "diluent_ml": 12, "given_ml": 1}, 0.25, 0.25),
        ({"stock_mg_per_ml": 1, "stock_ml": 0.1, "diluent_ml": 9.9, "given_ml": 1}, 0.01, 0.01),
        ({"stock_mg_per_ml": 10, "stock_ml": 5, "diluent_ml": 0, "given_ml": 0.1}, 10, 1),
        ({"stock_mg_per_ml": 50, "stock_ml": 0.2, "diluent_ml": 0.8, "given_ml": 0.1}, 10, 1),
        ({"stock_mg_per_ml": 50, "stock_ml": 0.2, "diluent_ml": 2.3, "given_ml": 0.1}, 4, 0.4),
        ({"stock_mg_per_ml": 5, "stock_ml": 3, "diluent_ml": 7, "given_ml": 0.1}, 1.5, 0.15),
    ],
)
def test_worked_preparations(keys: dict[str, float], final: float, dose: float) -> None:
    answer = dilution.run(keys)
    assert answer.result.final_mg_per_ml == pytest.approx(final, rel=1e-12)
    assert answer.result.dose_mg == pytest.approx(dose, rel=1e-12)
    assert "displacement-not-counted" in codes(answer)


def test_mixing_in_a_small_syringe_is_told() -> None:
    small = {"stock_mg_per_ml": 50, "stock_ml": 0.2, "diluent_ml": 0.8, "given_ml": 0.1}
    assert "small-syringe" in codes(dilution.run(small))
    assert "small-syringe" not in codes(dilution.run({**small, "diluent_ml": 2.3}))
    assert "small-syringe" not in codes(dilution.run({**small, "diluent_ml": 0}))


@pytest.mark.parametrize(
    ("change", "failure", "field"),
    [
        ({"given_ml": 17}, InvalidInput, "given_ml"),
        ({"stock_ml": 0}, InvalidInput, "stock_ml"),
        ({"stock_mg_per_ml": -1}, InvalidInput, "stock_mg_per_ml"),
        ({"diluent_ml": "13"}, InvalidInput, "diluent_ml"),
    ],
)
def test_bad_input_is_one_clear_error(change: dict[str, Any], failure: type[ForestayError], field: str) -> None:
    with pytest.raises(failure) as caught:
        dilution.run({"stock_mg_per_ml": 40, "stock_ml": 3, "diluent_ml": 13, "given_ml": 1, **change})
    assert caught.value.field == field


def test_a_missing_volume_is_named() -> None:
    with pytest.raises(MissingInput) as caught:
        dilution(stock_mg_per_ml=40, stock_ml=3, given_ml=1)
    assert caught.value.field == "diluent_ml"


@pytest.mark.parametrize(
    ("drug", "with_adrenaline", "percent", "max_mg", "max_ml"),
    [
        # 60 kg; mg/kg of two dose tables, the lower figure: 3 and 6, 2 and 2, 5 and 7.5
        ("lidocaine", False, 2.0, 180, 9),
        ("lidocaine", True, 2.0, 360, 18),
        ("bupivacaine", False, 0.5, 120, 24),
        ("bupivacaine", True, 0.5, 120, 24),
        ("prilocaine", False, 1.0, 300, 30),
        ("prilocaine", True, 1.0, 450, 45),
    ],
)
def test_limits_at_sixty_kilograms(
    drug: str, with_adrenaline: bool, percent: float, max_mg: float, max_ml: float
) -> None:
    answer = anaesthetic_limit(drug=drug, weight_kg=60, concentration_percent=percent, with_adrenaline=with_adrenaline)
    assert answer.result.max_mg == pytest.approx(max_mg)
    assert answer.result.max_ml == pytest.approx(max_ml)
    assert {"ideal-weight", "frailty", "mixtures-share-the-limit"} <= codes(answer)


def test_ten_millilitres_of_lidocaine_are_over_the_limit_at_sixty_kilograms() -> None:
    # 200 mg against 180: 111 %, worked in the evidence
    most = anaesthetic_limit(
        drug="lidocaine", weight_kg=60, concentration_percent=2, with_adrenaline=False
    ).result.max_mg
    assert 200 / most == pytest.approx(1.11, abs=0.005)


def test_a_recalled_limit_says_so() -> None:
    answer = anaesthetic_limit(drug="ropivacaine", weight_kg=60, concentration_percent=0.75, with_adrenaline=False)
    assert "from-memory" in codes(answer)


def test_an_unknown_drug_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InvalidInput) as caught:
        anaesthetic_limit(drug="cocaine", weight_kg=60, concentration_percent=1, with_adrenaline=False)
    assert caught.value.field == "drug"
    assert "lidocaine" in (caught.value.allowed or "")
