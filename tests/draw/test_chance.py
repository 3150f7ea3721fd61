"""Chances in words: expected words follow from arithmetic on the fraction named."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.draw.chance import SMALLEST, chance_words
from forestay.errors import InvalidInput


@pytest.mark.parametrize(
    ("probability", "expected"),
    [
        (1 / 7, "1 in 7"),
        (0.142, "1 in 7"),
        (0.95, "19 in 20"),
        (0.5, "1 in 2"),
        (0.51, "1 in 2"),
        (0.25, "1 in 4"),
        (0.75, "3 in 4"),
        (2 / 3, "2 in 3"),
        (0.4, "2 in 5"),
        (0.02, "1 in 50"),
        (0.98, "49 in 50"),
        (0.0199, "under 1 in 50"),
        (0.0, "under 1 in 50"),
        (0.9801, "over 49 in 50"),
        (1.0, "over 49 in 50"),
    ],
)
def test_words(probability: float, expected: str) -> None:
    assert chance_words(probability) == expected


@pytest.mark.parametrize("wrong", [-0.01, 1.01, float("nan")])
def test_no_probability(wrong: float) -> None:
    with pytest.raises(InvalidInput) as caught:
        chance_words(wrong)
    assert caught.value.field == "probability"
    assert caught.value.allowed == "0 to 1"


def _value(text: str) -> float:
    k, n = map(int, re.findall(r"\d+", text))
    return k / n


@given(st.floats(SMALLEST, 1 - SMALLEST))
@settings(deadline=None, derandomize=True)
def test_words_stay_near_the_chance(probability: float) -> None:
    """Said odds are within a third of the true odds, and a chance and its opposite are said alike."""
    said = _value(chance_words(probability))
    ratio = (said / (1 - said)) / (probability / (1 - probability))
    assert 0.74 < ratio < 1.36


@given(st.floats(0, 1), st.floats(0, 1))
@settings(deadline=None, derandomize=True)
def test_words_never_turn_round(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert _value(chance_words(low)) <= _value(chance_words(high)) or low == high
