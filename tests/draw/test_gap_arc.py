"""A gap as text, and its ends moved by whole hours."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.draw.gap_arc import LONGEST, arc_hours, arc_text, arc_words, main_run, with_end
from forestay.errors import InvalidInput

GAPS = st.sets(st.integers(1, 12), max_size=LONGEST)


@given(gaps=GAPS)
def test_text_and_hours_are_two_forms_of_one_thing(gaps: set[int]) -> None:
    assert arc_hours(arc_text(tuple(gaps))) == tuple(sorted(float(g) for g in gaps))


@pytest.mark.parametrize(
    ("gaps", "end", "hour", "then"),
    [
        ((6, 7), "to", 8, "6-8"),
        ((6, 7), "to", 6, "6"),
        ((6, 7), "from", 5, "5-7"),
        ((6, 7), "from", 9, "7"),  # past the other end: one hour is left
        ((12, 1), "from", 11, "11-1"),
        ((1, 2), "from", 12, "12-2"),
        ((6, 7, 11), "to", 8, "6-8,11"),  # the longest gap moves, the other stays
        ((6, 7, 9), "to", 8, "6-9"),  # gaps that meet are one
        (tuple(range(1, 12)), "to", 12, "1-11"),  # two ends must stay apart
        ((), "to", 4, "4"),
    ],
)
def test_an_end_moves_by_whole_hours(gaps: tuple[int, ...], end: str, hour: float, then: str) -> None:
    assert arc_text(with_end(gaps, end, hour)) == then


@given(gaps=GAPS, end=st.sampled_from(("from", "to")), hour=st.integers(1, 12))
def test_a_moved_gap_is_never_lost_and_never_the_whole_clock(gaps: set[int], end: str, hour: int) -> None:
    moved = with_end(tuple(gaps), end, hour)
    assert 1 <= len(moved) <= LONGEST
    assert main_run(moved) is not None
    assert len(set(moved)) == len(moved)


@pytest.mark.parametrize("text", ["", "x", "0", "13", "-6", "6-8-9", "nan", "1e9", "6,,7"])
def test_what_is_no_gap_is_refused_by_name(text: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        arc_hours(text)
    assert refused.value.field == "weak_hours"


def test_a_gap_is_read_in_words() -> None:
    assert [arc_words(g) for g in ((), (6,), (6, 7, 8), (6, 7, 11))] == ["none", "6", "6 to 8", "6 to 7 and 11"]
