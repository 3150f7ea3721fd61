"""Preparation arithmetic against the worked preparations of the evidence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.dosing.dilution import dilute, strength_from_percent, strength_from_ratio
from forestay.errors import InvalidInput


@pytest.mark.parametrize(
    ("stock", "taken", "added", "final"),
    [
        (40, 3, 13, 7.5),  # lidocaine 4 %, 3 ml in 16 ml
        (1, 4, 12, 0.25),  # adrenaline 1 : 1000, 4 ml in 16 ml
        (1, 0.5, 499.5, 0.001),  # adrenaline 0.5 mg in 500 ml
        (1, 0.1, 9.9, 0.01),  # adrenaline 1 : 100 000
        (5, 3, 7, 1.5),  # moxifloxacin 0.5 %, 3 ml and 7 ml
        (50, 0.2, 0.8, 10),  # vancomycin 500 mg in 10 ml, 0.2 and 0.8 ml
        (225, 0.1, 0.9, 22.5),  # ceftazidime, displacement taken into the stock
        (50, 0.2, 2.3, 4),  # amikacin
        (100, 1, 9, 10),  # cefuroxime 100 mg/ml, 1 ml made to 10 ml
    ],
)
def test_strengths_of_worked_preparations(stock: float, taken: float, added: float, final: float) -> None:
    made = dilute(stock_mg_per_ml=stock, stock_ml=taken, diluent_ml=added, given_ml=0.1)
    assert made.final_mg_per_ml == pytest.approx(final, rel=1e-12)
    assert made.dose_mg == pytest.approx(0.1 * final, rel=1e-12)


def test_strict_volume_of_adrenaline_in_a_bottle() -> None:
    # 0.5 ml added to a full 500 ml bottle is 1 : 1 001 000
    made = dilute(stock_mg_per_ml=1, stock_ml=0.5, diluent_ml=500, given_ml=1)
    assert made.final_mg_per_ml == pytest.approx(strength_from_ratio(1_001_000), rel=1e-12)


def test_ways_of_writing_a_strength() -> None:
    # per cent is g in 100 ml, 1 : n is 1 g in n ml
    assert strength_from_percent(0.05, mg_per_ml_in_one_percent=10) == pytest.approx(0.5)
    np.testing.assert_allclose(strength_from_ratio(np.array([1000, 16_000])), [1, 0.0625])


def test_more_given_than_prepared_is_refused_with_the_volume() -> None:
    with pytest.raises(InvalidInput, match=r"given_ml is 1\.5 ml, but only 1 ml") as failure:
        dilute(stock_mg_per_ml=10, stock_ml=0.5, diluent_ml=0.5, given_ml=1.5)
    assert failure.value.field == "given_ml"
    with pytest.raises(InvalidInput, match="given_ml is 3 ml, but only 2 ml"):
        dilute(stock_mg_per_ml=10, stock_ml=1, diluent_ml=1, given_ml=np.array([0.5, 3.0]))


def test_arrays_keep_their_shape() -> None:
    made = dilute(stock_mg_per_ml=10, stock_ml=np.ones(3), diluent_ml=1.0, given_ml=0.5)
    assert made.final_mg_per_ml.shape == (3,)
    assert made.dose_mg.shape == (3,)


@settings(deadline=None, derandomize=True)
@given(stock=st.floats(0.01, 500), taken=st.floats(0.01, 100), added=st.floats(0, 500))
def test_giving_all_gives_what_was_taken(stock: float, taken: float, added: float) -> None:
    made = dilute(stock_mg_per_ml=stock, stock_ml=taken, diluent_ml=added, given_ml=taken + added)
    assert made.dose_mg == pytest.approx(stock * taken, rel=1e-9)
