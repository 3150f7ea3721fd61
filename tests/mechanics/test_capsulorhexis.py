"""Passing the capsulorhexis: tables worked out with the elliptic integral, and what must always hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.capsulorhexis import (
    CapsulorhexisConstants,
    minimum_flat_mm,
    minimum_tipped_mm,
    stretch_flat,
    stretch_tipped,
)

steady = settings(deadline=None, derandomize=True)
widths = st.floats(min_value=2.0, max_value=12.0)
stretches = st.floats(min_value=1.0, max_value=2.5)


@pytest.mark.parametrize(
    ("diameter", "thickness", "flat", "tipped"),
    [  # least openings, flat at stretch 1.62, 1.35, 1.20 and tipped at 1.35, 1.0; printed to 0.01 mm
        (6.37, 2.57, (3.93, 4.72, 5.31), (3.46, 4.67)),
        (7.13, 3.05, (4.40, 5.28, 5.94), (3.92, 5.30)),
        (7.89, 3.53, (4.87, 5.84, 6.58), (4.39, 5.92)),
        (8.65, 4.01, (5.34, 6.41, 7.21), (4.85, 6.54)),
    ],
)
def test_the_least_openings_for_small_to_large_nuclei(
    diameter: float, thickness: float, flat: tuple[float, ...], tipped: tuple[float, ...]
) -> None:
    for expected, stretch in zip(flat, (1.62, 1.35, 1.20), strict=True):
        ours = minimum_flat_mm(nucleus_diameter_mm=diameter, tolerated_stretch=stretch)
        assert ours == pytest.approx(expected, abs=0.0051)
    for expected, stretch in zip(tipped, (1.35, 1.0), strict=True):
        ours = minimum_tipped_mm(
            nucleus_diameter_mm=diameter, nucleus_thickness_mm=thickness, tolerated_stretch=stretch
        )
        assert ours == pytest.approx(expected, abs=0.0051)


@pytest.mark.parametrize(
    ("diameter", "thickness", "tipped", "flat"),
    [  # second table, stretch 1.0, 1.2, 1.35, 1.62; printed to 0.01 mm
        (7.0, 3.5, (5.40, 4.50, 4.00, 3.33), (7.00, 5.83, 5.19, 4.32)),
        (8.0, 4.0, (6.17, 5.14, 4.57, 3.81), (8.00, 6.67, 5.93, 4.94)),
        (9.5, 5.5, (7.63, 6.36, 5.65, 4.71), (9.50, 7.92, 7.04, 5.86)),
    ],
)
def test_the_least_openings_at_four_stretches(
    diameter: float, thickness: float, tipped: tuple[float, ...], flat: tuple[float, ...]
) -> None:
    stretch = np.array([1.0, 1.2, 1.35, 1.62])
    ours = minimum_tipped_mm(nucleus_diameter_mm=diameter, nucleus_thickness_mm=thickness, tolerated_stretch=stretch)
    np.testing.assert_allclose(ours, tipped, atol=0.0051)
    np.testing.assert_allclose(
        minimum_flat_mm(nucleus_diameter_mm=diameter, tolerated_stretch=stretch), flat, atol=0.0051
    )


def test_a_mean_nucleus_tips_through_an_opening_of_5_3_mm_without_stretch() -> None:
    # girth 16.640 mm against pi 5.3 = 16.650
    ours = float(stretch_tipped(nucleus_diameter_mm=7.13, nucleus_thickness_mm=3.05, capsulorhexis_mm=5.3))
    assert ours == pytest.approx(4 * 3.565 * ellipe(1 - (3.05 / 7.13) ** 2) / (np.pi * 5.3), rel=1e-12)
    assert 0.999 < ours < 1.0


@steady
@given(diameter=widths, thickness=st.floats(min_value=0.5, max_value=8.0), stretch=stretches)
def test_the_least_opening_is_just_stretched_as_tolerated(diameter: float, thickness: float, stretch: float) -> None:
    flat = minimum_flat_mm(nucleus_diameter_mm=diameter, tolerated_stretch=stretch)
    tipped = minimum_tipped_mm(nucleus_diameter_mm=diameter, nucleus_thickness_mm=thickness, tolerated_stretch=stretch)
    assert float(tipped) <= float(flat)
    reached = float(stretch_flat(nucleus_diameter_mm=diameter, capsulorhexis_mm=flat))
    assert reached == pytest.approx(stretch, rel=1e-12)
    if thickness <= diameter:
        reached = float(
            stretch_tipped(nucleus_diameter_mm=diameter, nucleus_thickness_mm=thickness, capsulorhexis_mm=tipped)
        )
        assert reached == pytest.approx(stretch, rel=1e-12)


@steady
@given(diameter=widths, stretch=st.floats(min_value=1.0, max_value=2.4))
def test_more_give_needs_less_and_more_nucleus_needs_more(diameter: float, stretch: float) -> None:
    least = float(minimum_flat_mm(nucleus_diameter_mm=diameter, tolerated_stretch=stretch))
    assert float(minimum_flat_mm(nucleus_diameter_mm=diameter, tolerated_stretch=stretch + 0.1)) < least
    assert float(minimum_flat_mm(nucleus_diameter_mm=diameter + 0.1, tolerated_stretch=stretch)) > least


def test_numbers_arrays_and_missing_values() -> None:
    assert isinstance(stretch_flat(nucleus_diameter_mm=7.0, capsulorhexis_mm=5.0), float)
    ours = stretch_tipped(
        nucleus_diameter_mm=np.array([7.0, np.nan]), nucleus_thickness_mm=3.0, capsulorhexis_mm=np.array([5.0, 5.0])
    )
    assert isinstance(ours, np.ndarray)
    assert np.isnan(ours).tolist() == [False, True]


def test_an_impossible_stretch_or_size_is_named() -> None:
    with pytest.raises(InvalidInput) as raised:
        minimum_flat_mm(nucleus_diameter_mm=7.0, tolerated_stretch=0.9)
    assert (raised.value.field, raised.value.value) == ("tolerated_stretch", 0.9)
    with pytest.raises(InvalidInput) as raised:
        stretch_flat(nucleus_diameter_mm=7.0, capsulorhexis_mm=0.0)
    assert raised.value.field == "capsulorhexis_mm"


def test_the_published_limits_of_the_rim() -> None:
    # human +62 % of circumference (35 donor eyes); pig, hand-made, stretch ratio 1.35
    limits = default_evidence().reader().constants(CapsulorhexisConstants)
    assert (limits.mean_tear_stretch, limits.lowest_tear_stretch) == (1.62, 1.35)
