"""A trainee's turns: alone, as agreed, taken over; blocks of them with exact intervals."""

from __future__ import annotations

import pytest
from scipy import stats

from forestay.learning.trainees import Turn, stretches

ALONE = Turn(own=("tunnel", "rotation", "lens"), others=(), expected=0.02)
AGREED = Turn(own=("tunnel", "lens"), others=("rotation",), agreed=("rotation",), expected=0.02)
TAKEN = Turn(own=("tunnel",), others=("rotation", "lens"), agreed=("rotation",), failed=True, expected=0.06)


def test_what_was_agreed_is_no_take_over() -> None:
    assert [turn.how for turn in (ALONE, AGREED, TAKEN)] == ["alone", "as-agreed", "taken-over"]
    assert [turn.taken_at for turn in (ALONE, AGREED, TAKEN)] == [None, None, "lens"]


def test_blocks_count_what_is_in_them() -> None:
    first, second = stretches([TAKEN] * 4 + [AGREED] * 6 + [ALONE] * 10, size=10, fewest=5, level=0.95)
    assert (first.alone, first.as_agreed, first.taken_over, first.failed) == (0, 6, 4, 4)
    assert first.expected == pytest.approx(4 * 0.06 + 6 * 0.02)
    # Own steps: 4 x 1 + 6 x 2 of 10 x 3.
    assert first.own_share == pytest.approx(16 / 30)
    low, high = stats.binomtest(4, 10).proportion_ci(0.95, "exact")
    assert (first.taken_low, first.taken_high) == pytest.approx((low, high))
    assert (second.first, second.n, second.taken_over, second.own_share) == (11, 10, 0, 1.0)
    assert second.taken_high == pytest.approx(1 - 0.025 ** (1 / 10))


@pytest.mark.parametrize(
    ("count", "sizes"), [(4, []), (5, [5]), (10, [10]), (13, [13]), (15, [10, 5]), (24, [10, 14]), (30, [10, 10, 10])]
)
def test_a_short_last_block_joins_the_one_before_and_few_are_not_shown(count: int, sizes: list[int]) -> None:
    found = stretches([ALONE] * count, size=10, fewest=5, level=0.95)
    assert [block.n for block in found] == sizes
    assert sum(block.n for block in found) in (0, count)


def test_without_told_risks_none_is_made_up() -> None:
    (block,) = stretches([Turn(("tunnel",), ())] * 6, size=10, fewest=5, level=0.95)
    assert block.expected is None
