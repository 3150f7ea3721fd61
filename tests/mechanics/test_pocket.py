"""The held nucleus and both lips: against the table of the mechanics evidence, a convex hull, and quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from forestay.errors import InvalidInput
from forestay.mechanics.geometry import ellipse_perimeter_mm
from forestay.mechanics.pocket import (
    PocketConstants,
    chord_for_lip_mm,
    held_girth_mm,
    lips,
    needed_lip_held_mm,
)
from forestay.mechanics.tunnel import SHAPES, lip_length_mm

TOOLS = PocketConstants(limb_thickness_mm=0.3, limb_half_span_mm=2.5, bar_thickness_mm=0.5)
SPAN = 2.5
steady = settings(deadline=None, derandomize=True, max_examples=50)


def girth(wide: float, thick: float, limb: float = 0.3, bar: float = 0.5, span: float = SPAN) -> float:
    found = held_girth_mm(
        nucleus_diameter_mm=wide,
        nucleus_thickness_mm=thick,
        limb_thickness_mm=limb,
        limb_half_span_mm=span,
        bar_thickness_mm=bar,
    )
    return float(found)


@pytest.mark.parametrize(
    ("size", "girths", "lip"),
    [  # mechanics evidence, tunnel: perimeter alone, with the loop, with loop and bar; lip at no give
        ((6.37, 2.57), (14.68, 15.06, 15.31), 7.65),
        ((7.13, 3.05), (16.64, 16.96, 17.19), 8.60),
        ((7.89, 3.53), (18.60, 18.88, 19.11), 9.55),
        ((8.65, 4.01), (20.56, 20.82, 21.04), 10.52),
    ],
)
def test_the_table_of_held_nuclei(size: tuple[float, float], girths: tuple[float, ...], lip: float) -> None:
    found = [girth(*size, limb, bar) for limb, bar in ((0.0, 0.0), (0.3, 0.0), (0.3, 0.5))]
    assert found == pytest.approx(girths, abs=0.01)
    needed = needed_lip_held_mm(
        nucleus_diameter_mm=size[0],
        nucleus_thickness_mm=size[1],
        constants=TOOLS,
        with_loop=True,
        with_bar=True,
        tissue_give=1.0,
    )
    assert needed == pytest.approx(lip, abs=0.01)


@pytest.mark.parametrize(("give", "lip"), [(1.1, 7.81), (1.2, 7.16)])
def test_give_divides_the_lip(give: float, lip: float) -> None:
    # same table, 7.13 x 3.05 with tools
    found = needed_lip_held_mm(
        nucleus_diameter_mm=7.13,
        nucleus_thickness_mm=3.05,
        constants=TOOLS,
        with_loop=True,
        with_bar=True,
        tissue_give=give,
    )
    assert found == pytest.approx(lip, abs=0.01)


@steady
@given(st.floats(5.5, 9.5), st.floats(2, 5.5), st.floats(0.1, 0.6), st.floats(0.1, 0.8), st.floats(0.5, 2.5))
def test_the_girth_is_that_of_a_convex_hull(wide: float, thick: float, limb: float, bar: float, span: float) -> None:
    a, c = wide / 2, thick / 2
    turn = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    below = -c * np.sqrt(1 - (span / a) ** 2)
    normal = np.array([span / a**2, below / c**2])
    normal /= np.hypot(*normal)
    wire = limb / 2 * np.column_stack([np.cos(turn), np.sin(turn)])
    touch = np.array([span, below]) + limb / 2 * normal
    parts = [
        np.column_stack([a * np.cos(turn), c * np.sin(turn)]),
        wire + touch,
        wire + touch * [-1, 1],
        bar / 2 * np.column_stack([np.cos(turn), np.sin(turn)]) + [0, c + bar / 2],
    ]
    hull = ConvexHull(np.concatenate(parts)).area  # in the plane: the perimeter
    assert girth(wide, thick, limb, bar, span) == pytest.approx(hull, abs=1e-4)


@steady
@given(st.floats(5.5, 9.5), st.floats(2, 5.5), st.floats(0, 0.6), st.floats(0, 0.8))
def test_instruments_only_add(wide: float, thick: float, limb: float, bar: float) -> None:
    bare = float(ellipse_perimeter_mm(diameter_mm=wide, thickness_mm=thick))
    assert girth(wide, thick, 0.0, 0.0) == pytest.approx(bare, abs=1e-6)
    assert bare - 1e-6 <= girth(wide, thick, limb, 0.0) <= girth(wide, thick, limb, bar) + 1e-9


def test_a_pocket_widens_the_inner_lip_only() -> None:
    plain, pocketed = (
        lips(outer_chord_mm=6.5, sagitta_mm=1.5, shape="frown", pocket_each_side_mm=p, needed_mm=7.81) for p in (0, 1)
    )
    assert pocketed.outer_mm == plain.outer_mm == pytest.approx(7.387, abs=1e-3)
    assert pocketed.inner_mm == plain.inner_mm + 2
    assert plain.margin_mm == plain.margin_inner_mm  # the inner lip is the shorter one without pockets
    assert pocketed.margin_mm == pocketed.margin_outer_mm


@steady
@given(st.sampled_from(SHAPES), st.floats(4, 11), st.floats(0, 1.9))
def test_the_chord_for_a_lip_is_its_inverse(shape: str, chord: float, sagitta: float) -> None:
    length = lip_length_mm(chord_mm=chord, sagitta_mm=sagitta, shape=shape)
    assert chord_for_lip_mm(wanted_mm=length, sagitta_mm=sagitta, shape=shape) == pytest.approx(chord, abs=1e-6)


def test_draws_and_missing_values() -> None:
    wide = np.array([7.13, np.nan, 7.89])
    found = held_girth_mm(
        nucleus_diameter_mm=wide,
        nucleus_thickness_mm=3.05,
        limb_thickness_mm=0.3,
        limb_half_span_mm=2.5,
        bar_thickness_mm=0.5,
    )
    assert np.isnan(found).tolist() == [False, True, False]
    assert found[0] == pytest.approx(girth(7.13, 3.05), abs=1e-12)
    chords = chord_for_lip_mm(wanted_mm=np.array([7.0, np.nan]), sagitta_mm=1.0, shape="frown")
    assert np.isnan(chords).tolist() == [False, True]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"limb_thickness_mm": -0.1}, "limb_thickness_mm"),
        ({"bar_thickness_mm": -0.1}, "bar_thickness_mm"),
        ({"limb_half_span_mm": 3.6}, "limb_half_span_mm"),
        ({"nucleus_diameter_mm": 0.0}, "nucleus_diameter_mm"),
    ],
)
def test_bad_input_names_the_field(wrong: dict[str, float], field: str) -> None:
    keys = {
        "nucleus_diameter_mm": 7.13,
        "nucleus_thickness_mm": 3.05,
        "limb_thickness_mm": 0.3,
        "limb_half_span_mm": 2.5,
        "bar_thickness_mm": 0.5,
    }
    with pytest.raises(InvalidInput) as raised:
        held_girth_mm(**(keys | wrong))
    assert raised.value.field == field


def test_give_below_one_and_a_negative_pocket_are_refused() -> None:
    with pytest.raises(InvalidInput, match=r"tissue_give is 0\.9"):
        needed_lip_held_mm(
            nucleus_diameter_mm=7.13,
            nucleus_thickness_mm=3.05,
            constants=TOOLS,
            with_loop=True,
            with_bar=False,
            tissue_give=0.9,
        )
    with pytest.raises(InvalidInput, match="pocket_each_side_mm is -1"):
        lips(outer_chord_mm=6.5, sagitta_mm=0, shape="straight", pocket_each_side_mm=-1, needed_mm=7.0)
