"""Supports that can still go in once the nucleus is out: the figures of the search, the order, and what is left out."""

from __future__ import annotations

import pytest

from forestay.calc.support import support_search_calculation as search
from forestay.calc.support_left import supports_left

GAP = (1.0, 1.0, 1.0, 1.0, 0.8, 0.0, 0.0, 0.0, 0.8, 1.0, 1.0, 1.0)
EYE = {"bag_diameter_mm": 10.4, "age_years": 71, "tunnel_clock": 12}


def test_the_reserve_is_that_of_the_whole_search_at_the_same_step() -> None:
    """The ring of the search, at the step at which the lens goes in."""
    whole = search(**EYE, zonule=GAP, whole_nucleus_by_hand=True, kinds=("ring",)).result
    ring = next(r for r in whole.rows if r.kind == "ring")
    bare = next(r for r in whole.rows if r.kind == "none")
    left = supports_left(**EYE, zonule=GAP, whole_nucleus_by_hand=True, kinds=("ring",)).result
    (row,) = left.rows
    ringed, alone = (next(one.reserve for one in r.by_step if one.step == "lens-in") for r in (ring, bare))
    assert row.reserve == pytest.approx(ringed)
    assert left.bare == pytest.approx(alone)
    assert row.gain == pytest.approx((ringed or 0) - (alone or 0))


def test_best_first_and_none_that_is_not_at_hand_or_would_tear_the_rim() -> None:
    found = supports_left(**EYE, zonule=GAP).result.rows
    gains = [r.gain for r in found]
    assert gains == sorted(gains, reverse=True)
    cut = supports_left(**EYE, zonule=GAP, relaxing_cuts=True).result.rows
    assert {r.kind for r in cut} == {"hooks", "segment"}
    assert supports_left(**EYE, zonule=GAP, kinds=()).result.rows == ()


def test_a_mirrored_eye_gains_the_same() -> None:
    left = supports_left(**EYE, zonule=(1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0)).result
    right = supports_left(**EYE, zonule=(1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0)).result
    assert {r.kind: r.gain for r in left.rows} == {r.kind: r.gain for r in right.rows}


def test_where_nothing_holds_it_is_said() -> None:
    answer = supports_left(**EYE, zonule=(0.0,) * 12, kinds=("ring",))
    assert answer.result.bare is None
    assert [r.held for r in answer.result.rows] == [False]
    assert "nothing-holds" in {d.code for d in answer.doubts}
