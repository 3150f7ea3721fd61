"""From the text of a query to the values of controls."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.draw.controls import CONTROLS
from forestay.errors import ForestayError, InvalidInput
from forestay.web.forms import look, sentence


@pytest.mark.parametrize(
    ("query", "moved"),
    [
        ({}, {}),
        ({"capsulorhexis_mm": "5,5"}, {"capsulorhexis_mm": 5.5}),
        ({"capsulorhexis_mm": " 5.50 "}, {"capsulorhexis_mm": 5.5}),
        ({"capsulorhexis_mm": ""}, {}),
        ({"pupil_hooks": "5", "was_pupil_hooks": "5"}, {}),
        ({"pupil_hooks": "5", "was_pupil_hooks": "5", "held": "ring pupil_hooks"}, {"pupil_hooks": 5}),
        ({"pupil_hooks": "5", "was_pupil_hooks": "4"}, {"pupil_hooks": 5}),
        ({"ring": "before-nucleus"}, {"ring": "before-nucleus"}),
        ({"tunnel_clock": "0"}, {"tunnel_clock": 12.0}),
        ({"tunnel_clock": "12.5"}, {"tunnel_clock": 0.5}),
        ({"hook_reach_mm": "3,8"}, {"hook_reach_mm": 3.8}),
        ({"ring_gap_clock": "0"}, {"ring_gap_clock": 12.0}),
        ({"weak_hours": "6-8"}, {"weak_hours": (6.0, 7.0, 8.0)}),
        ({"weak_hours": "none"}, {"weak_hours": ()}),
        ({"weak_hours": "6-8", "was_weak_hours": "6-8"}, {}),
        ({"weak_hours": "6-8", "was_weak_hours": "6-8", "held": "weak_hours"}, {"weak_hours": (6.0, 7.0, 8.0)}),
        (
            {"weak_hours": "6-7", "was_weak_hours": "6-7", "weak_to": "9", "was_weak_to": "7"},
            {"weak_hours": (6.0, 7.0, 8.0, 9.0)},
        ),
        ({"weak_hours": "6-7", "was_weak_hours": "6-7", "weak_to": "7", "was_weak_to": "7"}, {}),
    ],
)
def test_what_was_moved(query: dict[str, str], moved: dict[str, object]) -> None:
    assert look(query) == moved


@pytest.mark.parametrize(
    ("query", "moved"),
    [
        ({"capsulorhexis_mm": "5.2", "step": "capsulorhexis_mm:+1"}, {"capsulorhexis_mm": 5.3}),
        ({"capsulorhexis_mm": "8", "step": "capsulorhexis_mm:+1"}, {"capsulorhexis_mm": 8.0}),
        ({"pupil_hooks": "0", "step": "pupil_hooks:-1"}, {"pupil_hooks": 0}),
        ({"tunnel_clock": "12", "step": "tunnel_clock:+1"}, {"tunnel_clock": 0.5}),
        ({"tunnel_clock": "0.5", "step": "tunnel_clock:-1"}, {"tunnel_clock": 12.0}),
        ({"ring": "none", "step": "ring:+1"}, {"ring": "before-nucleus"}),
        ({"ring": "none", "step": "ring:-1"}, {"ring": "none"}),
        ({"weak_hours": "6-7", "step": "weak_to:+1"}, {"weak_hours": (6.0, 7.0, 8.0)}),
        ({"weak_hours": "12-1", "step": "weak_from:-1"}, {"weak_hours": (1.0, 11.0, 12.0)}),
    ],
)
def test_a_pressed_step_without_script(query: dict[str, str], moved: dict[str, object]) -> None:
    shown = {f"was_{name}": value for name, value in query.items() if name != "step"}
    assert look({**query, **shown}) == moved


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"capsulorhexis_mm": "wide"}, "capsulorhexis_mm"),
        ({"capsulorhexis_mm": "nan"}, "capsulorhexis_mm"),
        ({"capsulorhexis_mm": "inf"}, "capsulorhexis_mm"),
        ({"capsulorhexis_mm": "52"}, "capsulorhexis_mm"),
        ({"hook_reach_mm": "7"}, "hook_reach_mm"),
        ({"weak_hours": "x"}, "weak_hours"),
        ({"weak_hours": "6-7", "weak_to": "15", "was_weak_to": "7"}, "weak_to"),
        ({"pupil_hooks": "4.5"}, "pupil_hooks"),
        ({"pupil_hooks": "nan"}, "pupil_hooks"),
        ({"pupil_hooks": "inf"}, "pupil_hooks"),
        ({"pupil_hooks": "9"}, "pupil_hooks"),
        ({"tunnel_clock": "inf"}, "tunnel_clock"),
        ({"ring": "yesterday"}, "ring"),
        ({"step": "nothing:+1"}, "step"),
        ({"ring": "yesterday", "step": "ring:+1"}, "ring"),
        ({"pupil_hooks": "4", "step": "pupil_hooks:many"}, "step"),
    ],
)
def test_what_cannot_be_is_refused_by_name(query: dict[str, str], field: str) -> None:
    with pytest.raises(InvalidInput) as refusal:
        look(query)
    assert refusal.value.field == field
    assert field in refusal.value.message


@given(
    st.dictionaries(
        st.sampled_from([*(c.name for c in CONTROLS), *(f"was_{c.name}" for c in CONTROLS), "step", "held"]), st.text()
    )
)
@settings(deadline=None, derandomize=True, max_examples=200)
def test_any_text_gives_values_or_one_clear_error(query: dict[str, str]) -> None:
    with suppress(ForestayError):
        assert set(look(query)) <= {c.name for c in CONTROLS}


def test_a_reason_must_be_there_and_short() -> None:
    assert sentence("reason", "  room   for\nthe nucleus ") == "room for the nucleus"
    for text in ("", "   ", "x" * 401):
        with pytest.raises(InvalidInput, match="reason is needed"):
            sentence("reason", text)
