"""Ring expanders by shape: round and square, and what they leave where the pupil is wider."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.frame import mirror_hour
from forestay.mechanics.expander import corner_reach_mm, expansion

PLACE = {"first_corner_clock": 1.5, "incision_clock": 12.0}
steady = settings(deadline=None, derandomize=True, max_examples=60)


@pytest.mark.parametrize(
    ("shape", "nominal", "pupil", "stretch"),
    [
        # mechanics evidence, section 6 (derived): a round 6.25 mm opening, 2.08 from 3 mm and 1.56 from 4 mm
        ("round", 6.25, 3.0, 2.0833),
        ("round", 6.25, 4.0, 1.5625),
        # square of side s from a pupil p: 4 s / (pi p); 1.70, 2.12, 2.55 from 3 mm; 1.27, 1.59, 1.91 from 4 mm
        ("square", 4.0, 3.0, 1.698),
        ("square", 5.0, 3.0, 2.122),
        ("square", 6.0, 3.0, 2.546),
        ("square", 4.0, 4.0, 1.273),
        ("square", 5.0, 4.0, 1.592),
        ("square", 6.0, 4.0, 1.910),
    ],
)
def test_the_stretch_is_the_published_geometry(shape: str, nominal: float, pupil: float, stretch: float) -> None:
    found = expansion(shape=shape, nominal_opening_mm=nominal, pupil_mm=pupil, **PLACE)
    assert found.margin_stretch == pytest.approx(stretch, abs=5e-4)
    assert found.largest_circle_mm == pytest.approx(nominal, abs=1e-9)


def test_for_the_same_circle_a_square_costs_27_percent_more_edge() -> None:
    # mechanics evidence, section 6: 4 / pi = 1.273
    square, ring = (expansion(shape=s, nominal_opening_mm=6.25, pupil_mm=3.0, **PLACE) for s in ("square", "round"))
    assert square.margin_mm / ring.margin_mm == pytest.approx(4 / np.pi, abs=1e-9)
    assert corner_reach_mm(nominal_opening_mm=6.25) == pytest.approx(6.25 / 2**0.5)


def test_an_expander_no_wider_than_the_pupil_holds_nothing() -> None:
    ring = expansion(shape="round", nominal_opening_mm=6.25, pupil_mm=6.5, **PLACE)
    assert (ring.holds, ring.largest_circle_mm, ring.margin_stretch) == (0.0, 6.5, 1.0)
    square = expansion(shape="square", nominal_opening_mm=6.25, pupil_mm=9.0, **PLACE)
    assert (square.holds, square.margin_stretch) == (0.0, 1.0)


def test_a_displaced_lens_loses_twice_its_offset_in_a_round_one() -> None:
    found = expansion(shape="round", nominal_opening_mm=6.25, pupil_mm=3.0, lens_clock=4, lens_offset_mm=0.5, **PLACE)
    assert found.circle_about_lens_mm == pytest.approx(5.25)


@steady
@given(
    st.floats(4.5, 8), st.floats(1.5, 9), st.integers(1, 48), st.floats(0, 1.5), st.sampled_from(["round", "square"])
)
def test_mirror_images_answer_alike_and_the_circle_about_the_lens_is_smaller(
    nominal: float, pupil: float, clock: int, offset: float, shape: str
) -> None:
    one = expansion(
        shape=shape, nominal_opening_mm=nominal, pupil_mm=pupil, lens_clock=clock / 4, lens_offset_mm=offset, **PLACE
    )
    other = expansion(
        shape=shape,
        nominal_opening_mm=nominal,
        pupil_mm=pupil,
        lens_clock=mirror_hour(clock / 4),
        lens_offset_mm=offset,
        first_corner_clock=mirror_hour(1.5),
        incision_clock=12.0,
    )
    assert one.circle_about_lens_mm == other.circle_about_lens_mm
    assert one.circle_about_lens_mm <= one.largest_circle_mm + 1e-9
    assert one.margin_stretch >= 1 - 1e-12


def test_draws_keep_their_shape_and_a_missing_pupil_stays_missing() -> None:
    pupil = np.array([3.0, np.nan, 4.0])
    for shape in ("round", "square"):
        found = expansion(shape=shape, nominal_opening_mm=6.25, pupil_mm=pupil, **PLACE)
        assert np.isnan(found.margin_stretch).tolist() == [False, True, False]
        alone = expansion(shape=shape, nominal_opening_mm=6.25, pupil_mm=4.0, **PLACE)
        assert found.circle_about_lens_mm[2] == pytest.approx(alone.circle_about_lens_mm)


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"shape": "oval"}, "shape"),
        ({"nominal_opening_mm": 0.0}, "nominal_opening_mm"),
        ({"pupil_mm": -3.0}, "pupil_mm"),
        ({"lens_offset_mm": -0.1}, "lens_offset_mm"),
    ],
)
def test_bad_input_names_the_field(wrong: dict[str, float | str], field: str) -> None:
    keys = {"shape": "round", "nominal_opening_mm": 6.25, "pupil_mm": 3.0, **PLACE}
    with pytest.raises(InvalidInput) as raised:
        expansion(**(keys | wrong))  # type: ignore[arg-type]
    assert raised.value.field == field
