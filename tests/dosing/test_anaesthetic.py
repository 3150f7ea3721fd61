"""Limits of local anaesthetics against the worked block of the evidence."""

from __future__ import annotations

import pytest

from forestay.dosing.anaesthetic import limit, share_of_limits


def test_limits_at_sixty_kilograms() -> None:
    # lidocaine 3 mg/kg: 180 mg, 9 ml of 2 %; bupivacaine 2 mg/kg: 120 mg
    assert limit(mg_per_kg=3, most_mg=None, weight_kg=60, strength_mg_per_ml=20).max_mg == 180
    assert limit(mg_per_kg=3, most_mg=None, weight_kg=60, strength_mg_per_ml=20).max_ml == 9
    assert limit(mg_per_kg=2, most_mg=None, weight_kg=60, strength_mg_per_ml=5).max_mg == 120


def test_the_limit_at_any_weight_holds() -> None:
    assert limit(mg_per_kg=3, most_mg=300, weight_kg=120, strength_mg_per_ml=20).max_mg == 300


def test_a_mixture_and_a_single_drug_over_its_limit() -> None:
    # 5 ml lidocaine 2 % and 5 ml bupivacaine 0.5 % at 60 kg: 0.764; 10 ml lidocaine 2 %: 111 %
    assert share_of_limits([(100, 180), (25, 120)]) == pytest.approx(0.764, abs=0.0005)
    assert share_of_limits([(200, 180)]) == pytest.approx(1.11, abs=0.005)
