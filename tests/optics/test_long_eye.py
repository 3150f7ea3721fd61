"""Adjusted lengths of long eyes: worked lengths of the evidence, no jump where none must be, never twice."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput, MissingInput
from forestay.optics import long_eye

WORKED = {
    # adjusted lengths of 26, 28 and 30 mm (evidence on lens power 8.3, 2011 coefficients)
    "Holladay 1": (25.818, 27.476, 29.133),
    "SRK/T": (25.937, 27.645, 29.354),
    "Hoffer Q": (25.757, 27.463, 29.169),
    "Haigis": (25.706, 27.563, 29.420),
}


def adjusted(read: Callable[[type[Any]], Any], length: Any, **keys: Any) -> long_eye.Adjusted:
    usual: dict[str, Any] = {
        "adjustment": "linear-2011",
        "formula": "Holladay 1",
        "lens_thickness_mm": None,
        "length_is": "as-measured",
    }
    told = {**usual, **keys}
    return long_eye.adjusted(told.pop("adjustment"), axial_length_mm=length, read=read, **told)


@pytest.mark.parametrize("formula", WORKED)
def test_the_worked_lengths(read: Callable[[type[Any]], Any], formula: str) -> None:
    found = adjusted(read, np.array([26.0, 28.0, 30.0]), formula=formula).axial_length_mm
    assert found == pytest.approx(WORKED[formula], abs=5.1e-4)


@pytest.mark.parametrize(
    ("adjustment", "formula", "crossing"),
    [
        # where the line crosses the measured length (evidence 3.6)
        ("linear-2011", "Holladay 1", 24.93),
        ("linear-2011", "SRK/T", 25.56),
        ("linear-2011", "Hoffer Q", 24.35),
        ("linear-2011", "Haigis", 21.88),
        ("linear-2018", "Holladay 1", 25.69),
        ("linear-2018", "SRK/T", 26.36),
    ],
)
def test_the_lines_cross_where_worked_out(
    read: Callable[[type[Any]], Any], adjustment: Any, formula: str, crossing: float
) -> None:
    told = read(long_eye.Linear2011 if adjustment == "linear-2011" else long_eye.Linear2018)
    slope, offset = told.lines[formula]
    assert offset / (1 - slope) == pytest.approx(crossing, abs=0.0051)
    # above 25 mm, and short of the crossing, the measured length stays: no jump
    if crossing > 25:
        before = 0.5 * (25 + crossing)
        assert adjusted(read, before, adjustment=adjustment, formula=formula).axial_length_mm == before


def test_the_jump_that_is_left_is_said(read: Callable[[type[Any]], Any]) -> None:
    # evidence 3.6: -0.22 mm at 25 mm for Haigis
    below, above = (float(adjusted(read, x, formula="Haigis").axial_length_mm) for x in (25.0, 25.000001))
    assert above - below == pytest.approx(-0.22, abs=0.0051)
    assert "adjustment-jumps" in [d.code for d in adjusted(read, 25.2, formula="Haigis").doubts]
    assert "adjustment-jumps" not in [d.code for d in adjusted(read, 25.8, formula="SRK/T").doubts]


@pytest.mark.parametrize(("length", "found"), [(26.0, 25.915), (30.0, 29.749)])
def test_the_estimate_by_segments(read: Callable[[type[Any]], Any], length: float, found: float) -> None:
    # evidence 8.3, lens thickness 4.5 mm
    told = adjusted(read, length, adjustment="segments", lens_thickness_mm=4.5)
    assert told.axial_length_mm == pytest.approx(found, abs=5.1e-4)
    with pytest.raises(MissingInput) as caught:
        adjusted(read, length, adjustment="segments")
    assert caught.value.field == "lens_thickness_mm"


@pytest.mark.parametrize("already", ["by-segments", "adjusted"])
@pytest.mark.parametrize("adjustment", ["linear-2011", "linear-2018", "segments"])
def test_no_length_is_adjusted_twice(read: Callable[[type[Any]], Any], already: Any, adjustment: Any) -> None:
    with pytest.raises(InvalidInput, match="never adjust twice") as caught:
        adjusted(read, 28.0, adjustment=adjustment, length_is=already, lens_thickness_mm=4.5)
    assert caught.value.field == "length_adjustment"
    assert adjusted(read, 28.0, adjustment="none", length_is=already).axial_length_mm == 28.0


def test_a_formula_without_coefficients_is_refused(read: Callable[[type[Any]], Any]) -> None:
    with pytest.raises(InvalidInput, match="Holladay 1") as caught:
        adjusted(read, 28.0, formula="T2")
    assert caught.value.field == "length_adjustment"


@settings(deadline=None, derandomize=True, max_examples=40)
@given(length=st.floats(20.0, 36.0), formula=st.sampled_from(list(WORKED)))
def test_an_adjustment_only_shortens_and_leaves_usual_eyes_alone(
    read: Callable[[type[Any]], Any], length: float, formula: str
) -> None:
    found = float(adjusted(read, length, formula=formula).axial_length_mm)
    assert found <= length
    if length <= 25:
        assert found == length


def test_a_missing_length_stays_missing(read: Callable[[type[Any]], Any]) -> None:
    found = adjusted(read, np.array([np.nan, 24.0])).axial_length_mm
    assert np.isnan(found).tolist() == [True, False]
