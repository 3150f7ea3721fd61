"""Preparations, bands, blocks and infusions against every worked figure of the evidence on management."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.dosing import anaesthetic_mixture, dilution
from forestay.calc.preparing import dose_band, infusion_volume, mixture
from forestay.errors import InvalidInput


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


def prepared(*steps: dict[str, Any], given_ml: float | None = None, unit: str = "mg") -> Any:
    return mixture.run({"steps": list(steps), "given_ml": given_ml, "unit": unit})


def solution(drug: str, per_ml: float, ml: float) -> dict[str, Any]:
    return {"do": "add", "drug": drug, "per_ml": per_ml, "ml": ml}


def diluent(ml: float) -> dict[str, Any]:
    return {"do": "add", "ml": ml}


def test_phenylephrine_from_drops() -> None:
    # 2.5 % = 25 mg/ml: 0.25 ml + 1.25 ml BSS holds 6.25 mg in 1.5 ml, 4.167 mg/ml (congress poster 15597, 2013)
    one = prepared(solution("phenylephrine", 25, 0.25), diluent(1.25)).result.contents[0]
    assert one.amount == pytest.approx(6.25, rel=1e-12)
    assert one.per_ml == pytest.approx(4.167, abs=0.001)


def test_phenylephrine_and_ketorolac_in_irrigation() -> None:
    # stock 60.75 and 11.25 mM, 4 ml in 500 ml: x 4/504 gives 0.4821 and 0.0893 mM
    made = prepared(
        {"do": "add", "drug": "phenylephrine", "per_ml": 60.75, "ml": 4},
        {"do": "make-to", "ml": 504},
        unit="umol",
    )
    assert made.result.contents[0].per_ml == pytest.approx(0.4821, abs=1e-4)
    made = prepared(solution("ketorolac", 11.25, 4), diluent(500), unit="umol")
    assert made.result.contents[0].per_ml == pytest.approx(0.0893, abs=1e-4)


def test_moxifloxacin_as_salt() -> None:
    # 0.05 ml of 5.45 mg/ml salt is 0.2725 mg of salt, 0.25 mg of base (5.0 mg/ml)
    assert prepared(solution("moxifloxacin", 5.45, 1), given_ml=0.05).result.contents[0].given == pytest.approx(
        0.2725, abs=1e-4
    )
    base = prepared(solution("moxifloxacin", 5.0, 1), given_ml=0.05).result.contents[0]
    assert base.given == pytest.approx(0.25, rel=1e-12)
    assert base.verdict == "warn"


def test_hyaluronidase_in_a_block() -> None:
    # 15 IU/ml in 5 ml is 75 IU: a 1,500 IU ampoule in 100 ml
    one = prepared(
        {"do": "add-powder", "drug": "hyaluronidase", "amount": 1500, "displaces_ml": 0},
        {"do": "make-to", "ml": 100},
        given_ml=5,
        unit="IU",
    ).result.contents[0]
    assert (one.per_ml, one.given) == pytest.approx((15, 75), rel=1e-12)


@pytest.mark.parametrize(
    ("steps", "given_ml", "drug", "mg"),
    [
        # vancomycin 500 mg in 10 ml; 0.2 + 0.8 ml; 0.1 ml is 1 mg
        ([solution("vancomycin", 50, 0.2), diluent(0.8)], 0.1, "vancomycin", 1.0),
        # amikacin 0.2 ml of 50 mg/ml + 2.3 ml; 0.1 ml is 0.4 mg
        ([solution("amikacin", 50, 0.2), diluent(2.3)], 0.1, "amikacin", 0.4),
        # ceftazidime at 225 mg/ml, 0.1 + 0.9 ml; 0.1 ml is 2.25 mg
        ([solution("ceftazidime", 225, 0.1), diluent(0.9)], 0.1, "ceftazidime", 2.25),
        # cefuroxime 50 mg in 5 ml; 0.1 ml is 1 mg
        (
            [{"do": "add-powder", "drug": "cefuroxime", "amount": 50, "displaces_ml": 0}, diluent(5)],
            0.1,
            "cefuroxime",
            1,
        ),
        # carbachol 0.01 %, 0.5 ml is 0.05 mg; acetylcholine 1 %, 0.2 ml is 2 mg
        ([solution("carbachol", 0.1, 1)], 0.5, "carbachol", 0.05),
        ([solution("acetylcholine", 10, 2)], 0.2, "acetylcholine", 2.0),
    ],
)
def test_worked_doses_pass(steps: list[dict[str, Any]], given_ml: float, drug: str, mg: float) -> None:
    made = mixture.run({"steps": steps, "given_ml": given_ml}).result
    assert made.contents[0].drug == drug
    assert made.contents[0].given == pytest.approx(mg, rel=1e-12)
    assert made.verdict == "pass"


def test_the_band_of_ceftazidime_lets_displacement_pass() -> None:
    # ignoring displacement gives 2.5 instead of 2.25 mg (+11 %)
    assert dose_band(drug="ceftazidime", dose_mg=2.5).result.verdict == "pass"


@pytest.mark.parametrize(
    ("drug", "mg", "verdict"),
    [
        # cefuroxime: 0.8 to 1.2 passes, 0.5 to 0.8 and 1.2 to 3 warn, beyond stops; 9, 12.5 and 40 mg did harm
        ("cefuroxime", 1.0, "pass"),
        ("cefuroxime", 0.8, "pass"),
        ("cefuroxime", 1.2, "pass"),
        ("cefuroxime", 0.79, "warn"),
        ("cefuroxime", 0.5, "warn"),
        ("cefuroxime", 3.0, "warn"),
        ("cefuroxime", 0.49, "stop"),
        ("cefuroxime", 3.01, "stop"),
        ("cefuroxime", 9, "stop"),
        ("cefuroxime", 12.5, "stop"),
        ("cefuroxime", 40, "stop"),
        # misprints met in print: amikacin 4,000 ug and dexamethasone 4 mg, each in 0.1 ml
        ("amikacin", 4, "stop"),
        ("dexamethasone", 4, "stop"),
        ("dexamethasone", 0.4, "pass"),
        # home-made mixing in small syringes gave up to 7.25 mg where 1 was meant
        ("cefuroxime", 7.25, "stop"),
        # 0.1 ml of the wrong moxifloxacin bottle (0.1 %) is 0.1 mg instead of 0.5
        ("moxifloxacin", 0.5, "pass"),
        ("moxifloxacin", 0.1, "warn"),
        ("moxifloxacin", 2.5, "stop"),
        ("ceftriaxone", 2, "pass"),
        ("amphotericin", 0.005, "pass"),
        ("amphotericin", 0.05, "stop"),
    ],
)
def test_bands(drug: str, mg: float, verdict: str) -> None:
    found = dose_band(drug=drug, dose_mg=mg)
    assert found.result.verdict == verdict
    assert f"{mg:g} mg" in found.result.says


def test_a_band_of_the_house_says_so() -> None:
    assert "assumed" in codes(dose_band(drug="vancomycin", dose_mg=1))
    assert "assumed" not in codes(dose_band(drug="cefuroxime", dose_mg=1))


def test_two_drugs_that_precipitate_stop() -> None:
    # vancomycin and ceftazidime go into separate syringes
    made = prepared(solution("vancomycin", 10, 0.1), solution("ceftazidime", 22.5, 0.1), given_ml=0.2).result
    assert made.verdict == "stop"
    assert "precipitate" in made.says[0]


def test_small_syringes_and_powders_are_told() -> None:
    assert "small-syringe" in codes(prepared(solution("x", 50, 0.2), diluent(0.8)))
    assert "small-syringe" not in codes(prepared(solution("x", 50, 0.2), diluent(2.3)))
    powder = {"do": "add-powder", "drug": "x", "amount": 50}
    assert "displacement-not-counted" in codes(prepared(powder, diluent(5)))
    assert "displacement-not-counted" not in codes(prepared({**powder, "displaces_ml": 0.1}, diluent(5)))


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ({"do": "add", "drug": "x", "ml": 1}, "per_ml"),
        ({"do": "add-powder", "drug": "x"}, "amount"),
        ({"do": "keep"}, "ml"),
        ({"do": "boil", "ml": 1}, "add-powder"),
        ({"do": "add", "ml": -1}, "ml"),
    ],
)
def test_a_bad_step_is_one_clear_error(step: dict[str, Any], words: str) -> None:
    with pytest.raises(InvalidInput, match=words):
        prepared(step)


def block(weight_kg: float, *parts: tuple[str, float, float], **more: Any) -> Any:
    return anaesthetic_mixture(
        weight_kg=weight_kg,
        parts=[{"drug": d, "volume_ml": ml, "concentration_percent": percent} for d, ml, percent in parts],
        **more,
    )


def test_worked_blocks_at_sixty_kilograms() -> None:
    # limits 180 and 120 mg: 10 ml lidocaine 2 % is 111.1 %, refused; 5 ml + 5 ml bupivacaine 0.5 % is 0.764, within
    over = block(60, ("lidocaine", 10, 2)).result
    assert over.share == pytest.approx(1.111, abs=0.001)
    assert not over.within_limit
    assert over.largest_ml == pytest.approx(9)
    assert "too much" in over.says
    mixed = block(60, ("lidocaine", 5, 2), ("bupivacaine", 5, 0.5)).result
    assert mixed.share == pytest.approx(0.764, abs=0.001)
    assert mixed.within_limit


def test_the_limit_itself_is_within_it() -> None:
    # rule of sums: at most 1; 9 ml of 2 % at 60 kg is exactly 180 mg
    assert block(60, ("lidocaine", 9, 2)).result.within_limit
    assert not block(60, ("lidocaine", 9, 2), ("bupivacaine", 0.1, 0.5)).result.within_limit


def test_a_child_and_a_light_person() -> None:
    answer = block(16, ("lidocaine", 3, 2), age_years=4)
    assert "child" in codes(answer)
    assert not answer.result.within_limit  # 60 mg against 48 mg
    assert "child" not in codes(block(60, ("lidocaine", 3, 2), age_years=74))


def test_seventy_kilograms_of_lidocaine() -> None:
    # the source gives 210 mg plain, 490 mg (7 mg/kg) with adrenaline, 21 and 49 ml of 1 %; of the two tables the lower
    # figure, 6 mg/kg, is taken with adrenaline: 420 mg, 42 ml
    plain = block(70, ("lidocaine", 21, 1)).result
    assert plain.parts[0].max_mg == pytest.approx(210)
    assert plain.share == pytest.approx(1)
    with_adrenaline = anaesthetic_mixture(
        weight_kg=70,
        parts=[{"drug": "lidocaine", "volume_ml": 42, "concentration_percent": 1, "with_adrenaline": True}],
    ).result
    assert with_adrenaline.parts[0].max_mg == pytest.approx(420)
    assert with_adrenaline.share == pytest.approx(1)


@pytest.mark.parametrize(("per_kg", "ml"), [(1, 300), (1.5, 450), (2, 600)])
def test_mannitol_at_sixty_kilograms(per_kg: float, ml: float) -> None:
    # 20 %: 1, 1.5 and 2 g/kg are 300, 450 and 600 ml; 1.5 to 2 g/kg are 7.5 to 10 ml/kg
    made = infusion_volume(weight_kg=60, g_per_kg=per_kg, strength_percent=20)
    assert made.result.volume_ml == pytest.approx(ml, rel=1e-12)
    assert made.result.ml_per_kg == pytest.approx(5 * per_kg, rel=1e-12)
    assert "mannitol-cautions" in codes(made)


def test_povidone_iodine_by_dilution() -> None:
    # 10 to 5 %: equal parts; 10 to 0.25 %: 1 part made to 40
    def percent(taken: float, added: float) -> float:
        answer = dilution(stock_mg_per_ml=100, stock_ml=taken, diluent_ml=added, given_ml=0.1)
        return float(answer.result.final_mg_per_ml / 10)

    assert percent(1, 1) == pytest.approx(5)
    assert percent(1, 39) == pytest.approx(0.25)
