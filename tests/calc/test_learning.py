"""Calculations of learning: told intervals and trainees' turns."""

from __future__ import annotations

import pytest
from scipy import stats

from forestay.calc.learning import interval_coverage, trainee_turns
from forestay.errors import InvalidInput


def test_told_intervals_by_hand() -> None:
    told = [{"expected": 0.0, "low": -1.0, "high": 1.0, "came": came} for came in (0.0, 1.0, 1.5, -1.2)]
    answer = interval_coverage(told=[*told, {"expected": 0.0, "low": -1.0, "high": 1.0}], told_level=0.9)
    found = answer.result
    assert (found.inside, found.below, found.above, found.waiting) == (2, 1, 1, 1)
    low, high = stats.binomtest(2, 4).proportion_ci(0.95, "exact")
    assert found.exact == pytest.approx((low, high))
    # Gneiting and Raftery 2007: width 2 and 2 / 0.1 of the 0.7 that lie outside, over four.
    assert found.interval_score == pytest.approx(2 + 20 * 0.7 / 4, abs=1e-6)
    assert [d.code for d in answer.doubts] == ["waiting"]


def test_an_interval_that_does_not_hold_its_own_value_is_refused() -> None:
    with pytest.raises(InvalidInput) as refused:
        interval_coverage(told=[{"expected": 2.0, "low": -1.0, "high": 1.0, "came": 0.0}], told_level=0.9)
    assert refused.value.field == "told.0.expected"
    with pytest.raises(InvalidInput) as refused:
        interval_coverage(told=[{"expected": 0.0, "low": -1.0, "high": 1.0}], told_level=0.9)
    assert refused.value.field == "told"


def test_turns_are_counted_by_stretch() -> None:
    taken = {"own": ["tunnel"], "others": ["lens"], "failed": True, "expected": 0.05}
    alone = {"own": ["tunnel", "lens"], "failed": False}
    found = trainee_turns(operations=[taken] * 10 + [alone] * 10).result
    assert [(s.first, s.taken_over, s.failed, s.own_share) for s in found.stretches] == [
        (1, 10, 10, 0.5),
        (11, 0, 0, 1.0),
    ]
    assert found.stretches[0].expected == pytest.approx(0.5)
    assert found.stretches[1].expected is None
    assert found.taken_at == ("lens",) * 10 + (None,) * 10
