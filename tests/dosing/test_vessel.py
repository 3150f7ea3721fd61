"""What is in a syringe, step after step, against the worked preparations of the evidence."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.dosing.vessel import Vessel
from forestay.errors import InvalidInput


def test_two_batches_of_the_same_mixture_agree() -> None:
    # Recipe read in a trade journal of 2009: BSS 9 + lidocaine 4 % 3 + adrenaline 1:1000 4 ml gives 0.75 % and 1:4000;
    # the small batch (1 + 3, discard 1, add 1) gives the same.
    large = Vessel().add(ml=9).add(ml=3, drug="lidocaine", per_ml=40).add(ml=4, drug="adrenaline", per_ml=1)
    small = (
        Vessel().add(ml=1, drug="lidocaine", per_ml=40).add(ml=3).discard(ml=1).add(ml=1, drug="adrenaline", per_ml=1)
    )
    for made in (large, small):
        assert made.strength("lidocaine") == pytest.approx(7.5, rel=1e-12)
        assert made.strength("adrenaline") == pytest.approx(0.25, rel=1e-12)


def test_a_powder_adds_what_it_displaces() -> None:
    # 750 mg of cefuroxime that displaces 0.5 ml: 7.5 ml added gives 93.75 mg/ml, made to 7.5 ml gives 100 mg/ml
    powder = Vessel().add_powder(drug="cefuroxime", amount=750, displaces_ml=0.5)
    assert powder.add(ml=7.5).strength("cefuroxime") == pytest.approx(93.75, rel=1e-12)
    made = powder.make_to(ml=7.5)
    assert made.strength("cefuroxime") == pytest.approx(100, rel=1e-12)
    assert made.keep(ml=1).make_to(ml=10).given(ml=0.1)["cefuroxime"] == pytest.approx(1.0, rel=1e-12)


def test_ceftazidime_with_and_without_displacement() -> None:
    # 500 mg + 2 ml: the source takes 225 mg/ml after displacement (500/225 - 2 = 0.2222 ml); ignoring it gives 250
    with_it = Vessel().add_powder(drug="ceftazidime", amount=500, displaces_ml=500 / 225 - 2).add(ml=2)
    without = Vessel().add_powder(drug="ceftazidime", amount=500, displaces_ml=0).add(ml=2)
    doses = [v.keep(ml=0.1).add(ml=0.9).given(ml=0.1)["ceftazidime"] for v in (with_it, without)]
    assert doses == pytest.approx([2.25, 2.5], rel=1e-12)
    assert doses[1] / doses[0] - 1 == pytest.approx(0.11, abs=0.005)
    # 1 g made to 10 ml, 0.225 ml made to 1 ml: 2.25 mg in 0.1 ml
    third = Vessel().add_powder(drug="ceftazidime", amount=1000, displaces_ml=0).make_to(ml=10)
    assert third.keep(ml=0.225).make_to(ml=1).given(ml=0.1)["ceftazidime"] == pytest.approx(2.25, rel=1e-12)


@pytest.mark.parametrize(
    ("take", "message"),
    [
        (lambda v: v.keep(ml=3), "at most 2 ml"),
        (lambda v: v.discard(ml=2), "less than 2 ml"),
        (lambda v: v.make_to(ml=1), "at least 2 ml"),
        (lambda v: v.given(ml=2.5), "at most 2 ml"),
    ],
)
def test_more_than_there_is_is_refused(take, message: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InvalidInput, match=message):
        take(Vessel().add(ml=2, drug="x", per_ml=1))


@settings(deadline=None, derandomize=True, max_examples=50)
@given(ml=st.floats(0.1, 50), per=st.floats(0.1, 500), more=st.floats(0, 50), share=st.floats(0.01, 0.99))
def test_diluting_keeps_the_amount_and_discarding_keeps_the_strength(
    ml: float, per: float, more: float, share: float
) -> None:
    made = Vessel().add(ml=ml, drug="x", per_ml=per).add(ml=more)
    assert made.amounts["x"] == pytest.approx(ml * per, rel=1e-9)
    less = made.discard(ml=made.volume_ml * share)
    assert less.strength("x") == pytest.approx(made.strength("x"), rel=1e-9)
