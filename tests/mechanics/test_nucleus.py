"""Size of the hard nucleus: published means, spreads and correlations (Indian J Ophthalmol 1995, n = 130)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.nucleus import APPEARANCES, WHITE, NucleusConstants, NucleusSize, nucleus_size

CONSTANTS = default_evidence().reader().constants(NucleusConstants)
steady = settings(deadline=None, derandomize=True)
grades = st.floats(min_value=1, max_value=5)


def size(grade: Any, appearance: str | None = None, lens: Any = None) -> NucleusSize:
    """One answer with the evidence that ships."""
    return nucleus_size(grade=grade, appearance=appearance, lens_thickness_mm=lens, constants=CONSTANTS)


def codes(found: NucleusSize) -> list[str]:
    """Codes of its doubts."""
    return [doubt.code for doubt in found.doubts]


def test_an_average_nucleus_has_the_published_size() -> None:
    found = size(3.0)
    assert (found.diameter_mm, found.thickness_mm) == (7.13, 3.05)
    assert isinstance(found.diameter_sd_mm, float)


def test_one_step_of_colour_and_what_is_left() -> None:
    # per SD of colour +0.30 mm (0.396 x 0.76) and +0.23 mm (0.479 x 0.48); residual SD 0.70 and 0.42 mm
    soft, hard = size(3.0), size(4.0)
    assert float(hard.diameter_mm) - float(soft.diameter_mm) == pytest.approx(0.396 * 0.76, abs=1e-12)
    assert float(hard.thickness_mm) - float(soft.thickness_mm) == pytest.approx(0.479 * 0.48, abs=1e-12)
    assert hard.diameter_sd_mm == pytest.approx(0.70, abs=0.005)
    assert hard.thickness_sd_mm == pytest.approx(0.42, abs=0.005)


def test_the_slope_and_the_residual_give_back_the_published_correlation() -> None:
    # a thousand nuclei drawn by this law over the studied spread of colour correlate with colour as published
    source = np.random.default_rng(1)
    z = np.clip(source.standard_normal(200_000), -2, 2)
    found = size(3 + z)
    drawn = np.asarray(found.diameter_mm) + np.asarray(found.diameter_sd_mm) * source.standard_normal(z.size)
    assert np.corrcoef(z, drawn)[0, 1] == pytest.approx(0.396, abs=0.02)


@pytest.mark.parametrize("appearance", [None, "clear", "nuclear", "brown"])
def test_appearances_that_say_no_more_than_the_grade(appearance: str | None) -> None:
    assert size(4.0, appearance) == size(4.0)


def test_a_black_nucleus_has_the_size_that_is_taught() -> None:
    # teaching figure from memory: 8-9 by 3.5-4.5 mm
    found = size(3.0, "black")
    assert 8 <= float(found.diameter_mm) <= 9
    assert 3.5 <= float(found.thickness_mm) <= 4.5
    assert codes(found) == ["black-nucleus"]
    assert float(found.diameter_mm) > float(size(5.0, "brown").diameter_mm)


@pytest.mark.parametrize("appearance", WHITE)
def test_a_swollen_lens_does_not_make_the_nucleus_larger_but_less_sure(appearance: str) -> None:
    found = size(3.0, appearance, 5.8)
    assert (found.diameter_mm, found.thickness_mm) == (7.13, 3.05)
    assert (found.diameter_sd_mm, found.thickness_sd_mm) == (0.76, 0.48)
    assert codes(found) == ["hidden-nucleus"]


def test_a_nucleus_fits_in_its_lens() -> None:
    found = size(5.0, "brown", 3.2)
    assert found.thickness_mm == pytest.approx(2.7)
    assert codes(found) == ["thin-lens"]
    assert size(5.0, "brown", 4.5) == size(5.0, "brown")


@steady
@given(grade=grades, step=st.floats(min_value=0, max_value=4), appearance=st.sampled_from([None, *APPEARANCES]))
def test_a_harder_nucleus_is_never_smaller(grade: float, step: float, appearance: str | None) -> None:
    soft, hard = size(grade, appearance, 4.0), size(min(grade + step, 5), appearance, 4.0)
    assert float(hard.diameter_mm) >= float(soft.diameter_mm)
    assert float(hard.thickness_mm) >= float(soft.thickness_mm)


@steady
@given(grade=grades, lens=st.floats(min_value=2, max_value=8), appearance=st.sampled_from([None, *APPEARANCES]))
def test_a_thicker_lens_never_makes_a_thinner_nucleus_and_never_more_than_without_it(
    grade: float, lens: float, appearance: str | None
) -> None:
    thin, thick, unknown = (float(size(grade, appearance, x).thickness_mm) for x in (lens, lens + 0.5, None))
    assert thin <= thick <= unknown
    assert thin < lens


def test_draws_and_missing_values() -> None:
    found = size(np.array([2.0, np.nan, 4.0]), "brown", np.array([4.5, 4.5, 3.0]))
    alone = [size(2.0, "brown", 4.5), size(4.0, "brown", 3.0)]
    thickness, spread = np.asarray(found.thickness_mm), np.asarray(found.diameter_sd_mm)
    assert thickness[[0, 2]].tolist() == [x.thickness_mm for x in alone]
    assert np.isnan(thickness[1])
    assert spread.shape == (3,)


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"grade": 0.5}, "grade"),
        ({"grade": 6.0}, "grade"),
        ({"appearance": "green"}, "appearance"),
        ({"lens": 0.0}, "lens_thickness_mm"),
        ({"lens": 0.4}, "lens_thickness_mm"),
    ],
)
def test_an_impossible_input_is_named(wrong: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        size(**({"grade": 3.0} | wrong))
    assert raised.value.field == field
