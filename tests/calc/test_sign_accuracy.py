"""What a sign is worth from counts, against the worked figures of two published tables."""

from __future__ import annotations

from typing import Any

import pytest

from forestay.calc.sign_accuracy import sign_accuracy
from forestay.errors import InvalidInput

SHALLOW = {"eyes_with": 67, "events_with": 9, "eyes_without": 107, "events_without": 3}
HIGH_RISK = {"eyes_with": 122, "events_with": 19, "eyes_without": 937, "events_without": 19}


@pytest.mark.parametrize(
    ("counts", "shares", "positive", "negative", "odds"),
    [
        # Kuchle 2000, chamber under 2.5 mm in pseudoexfoliation: 75.0 and 64.2 %; 2.09, 0.39, 5.38
        (SHALLOW, ("75.0", "64.2"), "2.09 1.42 3.08", "0.39 0.15 1.04", "5.38 1.40 20.7"),
        # Shingleton 2010, any high-risk sign: 50 and 89.9 %; 4.96, 0.556, 8.91
        (HIGH_RISK, ("50.0", "89.9"), "4.96 3.43 7.15", "0.556 0.40 0.76", "8.91 4.57 17.4"),
    ],
)
def test_published_tables(
    counts: dict[str, int], shares: tuple[str, str], positive: str, negative: str, odds: str
) -> None:
    found = sign_accuracy.run(counts).result
    assert (f"{100 * found.sensitivity:.1f}", f"{100 * found.specificity:.1f}") == shares
    for name, printed in (("positive", positive), ("negative", negative), ("odds_ratio", odds)):
        for end, text in zip(("", "_low", "_high"), printed.split(), strict=True):
            assert f"{getattr(found, name + end):.{len(text.partition('.')[2])}f}" == text


def test_a_probability_is_moved_by_the_sign() -> None:
    # worked in the evidence: 6.4 % becomes 25.3 % with 4.96, and 12.5 or 2.6 % with 2.09 and 0.39
    found = sign_accuracy(**HIGH_RISK, prior=0.064).result
    assert 100 * found.after_with == pytest.approx(25.3, abs=0.1)
    found = sign_accuracy(**SHALLOW, prior=0.064).result
    assert 100 * found.after_with == pytest.approx(12.5, abs=0.1)
    assert 100 * found.after_without == pytest.approx(2.6, abs=0.1)


def test_an_empty_cell_has_no_ratio_and_a_small_one_is_doubted() -> None:
    empty = sign_accuracy(eyes_with=10, events_with=3, eyes_without=40, events_without=0, prior=0.1)
    assert (empty.result.sensitivity, empty.result.positive, empty.result.after_with) == (1.0, None, None)
    assert [d.code for d in empty.doubts] == ["empty-cell"]
    assert "few-eyes" in {d.code for d in sign_accuracy.run(SHALLOW).doubts}
    assert "few-eyes" not in {d.code for d in sign_accuracy.run(HIGH_RISK).doubts}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"events_with": 68}, "events_with"),
        ({"events_with": 0, "events_without": 0}, "events_with"),
        ({"events_with": 67, "events_without": 107}, "eyes_without"),
        ({"prior": 1.0}, "prior"),
    ],
)
def test_counts_that_cannot_be_are_refused(change: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        sign_accuracy.run({**SHALLOW, **change})
    assert caught.value.field == field
