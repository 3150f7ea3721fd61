"""The least safe opening over draws: the table of both ways, monotone, even draws."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import qmc

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.passage import PassageConstants, even_draws, interval, smallest_opening, way_out

CONSTANTS = default_evidence().reader().constants(PassageConstants)
steady = settings(deadline=None, derandomize=True, max_examples=60)


def least(wide: Any, thick: Any, stretch: Any, room: Any = 20.0, clearance: float = 0.0) -> Any:
    """Least openings under the shipped evidence."""
    return smallest_opening(
        nucleus_diameter_mm=wide,
        nucleus_thickness_mm=thick,
        tolerated_stretch=stretch,
        room_above_mm=room,
        clearance_mm=clearance,
        constants=CONSTANTS,
    )


@pytest.mark.parametrize(
    ("wide", "thick", "tipped", "flat"),
    [  # mechanics evidence, derived table: wheeled and flat at s = 1.0 / 1.2 / 1.35 / 1.62
        (7.0, 3.5, (5.40, 4.50, 4.00, 3.33), (7.00, 5.83, 5.19, 4.32)),
        (8.0, 4.0, (6.17, 5.14, 4.57, 3.81), (8.00, 6.67, 5.93, 4.94)),
        (9.5, 5.5, (7.63, 6.36, 5.65, 4.71), (9.50, 7.92, 7.04, 5.86)),
    ],
)
def test_both_ways_of_the_table(wide: float, thick: float, tipped: Any, flat: Any) -> None:
    found = least(wide, thick, np.array([1.0, 1.2, 1.35, 1.62]))
    np.testing.assert_allclose(found.tipped_mm, tipped, atol=6e-3)
    np.testing.assert_allclose(found.flat_mm, flat, atol=6e-3)
    np.testing.assert_array_equal(found.either_mm, np.minimum(found.flat_mm, found.tipped_mm))


def test_a_shallow_chamber_leaves_no_way() -> None:
    found = least(8.65, 4.01, 1.2, 3.6)
    assert found.either_mm == np.inf
    assert way_out(smallest=found, capsulorhexis_mm=8.0) == "none"


def test_a_middling_chamber_asks_more_of_the_tipped_way() -> None:
    """7.89 x 3.53 with 3.6 mm of room: 19.63 mm of girth instead of 18.60."""
    assert least(7.89, 3.53, 1.0, 3.6).tipped_mm == pytest.approx(19.63 / np.pi, abs=0.01)


def test_the_way_is_flat_where_it_can_be_else_tipped_else_none() -> None:
    found = least(8.0, 4.0, 1.2)
    assert way_out(smallest=found, capsulorhexis_mm=np.array([6.7, 5.5, 5.0])).tolist() == ["flat", "tipped", "none"]


@steady
@given(
    wide=st.floats(5.5, 10),
    flat=st.floats(0.3, 0.6),
    stretch=st.floats(1, 1.6),
    room=st.floats(1, 9),
    more=st.floats(0.01, 0.3),
)
def test_more_stretch_smaller_nucleus_or_more_room_never_need_more(
    wide: float, flat: float, stretch: float, room: float, more: float
) -> None:
    base = least(wide, flat * wide, stretch, room).either_mm
    for easier in (
        least(wide, flat * wide, stretch + more, room),
        least(wide, flat * wide, stretch, room + more),
        least(wide, flat * wide * (1 - more), stretch, room),
    ):
        assert easier.either_mm <= base * (1 + 1e-3)  # the search over 61 tilts is good to this


def test_even_draws_are_halton_points() -> None:
    """The points of scipy's unscrambled Halton sequence after its first, the origin."""
    theirs = qmc.Halton(3, scramble=False).random(256)[1:].T
    np.testing.assert_allclose(even_draws(count=255, quantities=3), theirs, atol=1e-15)


def test_the_interval_is_of_the_draws() -> None:
    assert interval(np.arange(101.0)) == (5.0, 50.0, 95.0)
    assert interval(np.append(np.arange(90.0), np.full(11, np.inf)))[2] == np.inf


def test_missing_draws_stay_missing_and_wrong_ones_are_refused() -> None:
    found = least(np.array([8.0, np.nan]), 4.0, 1.2)
    assert np.isnan(found.either_mm).tolist() == [False, True]
    with pytest.raises(InvalidInput) as told:
        least(8.0, 4.0, 0.9)
    assert told.value.field == "tolerated_stretch"
    with pytest.raises(InvalidInput):
        even_draws(count=5, quantities=4)
