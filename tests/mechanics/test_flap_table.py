"""The table of pushes: it is what direct pushes give, on its points and between them."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import EvidenceError, InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.flap import FlapConstants, prolapse
from forestay.mechanics.flap_table import TABLE, flap_table, prolapse_estimate

CAPSULE = default_evidence().reader().constants(FlapConstants)
steady = settings(deadline=None, derandomize=True, max_examples=60)


def estimate(wide: Any, thick: Any, opening: Any, zonule: Any, skin: FlapConstants = CAPSULE) -> Any:
    """Force, stretch and whether inside."""
    return prolapse_estimate(
        nucleus_diameter_mm=wide,
        nucleus_thickness_mm=thick,
        capsulorhexis_mm=opening,
        zonule_mn_per_mm=zonule,
        constants=skin,
    )


@pytest.mark.parametrize(
    ("wide", "thick", "opening", "zonule"),
    [
        (7.13, 3.05, 5.5, 10.6),  # mean nucleus, weakest reading of the zonule at 73 years
        (7.89, 3.53, 6.0, 84.8),
        (8.65, 4.01, 6.0, 40.0),
        (8.2, 4.4, 5.4, 5.0),
        (7.6, 3.0, 7.1, 15.0),
        (9.2, 4.9, 6.4, 100.0),
    ],
)
def test_between_its_points_it_is_a_direct_push(wide: float, thick: float, opening: float, zonule: float) -> None:
    direct = prolapse(
        nucleus_diameter_mm=wide,
        nucleus_thickness_mm=thick,
        capsulorhexis_mm=opening,
        zonule_mn_per_mm=zonule,
        constants=CAPSULE,
    )
    read = estimate(wide, thick, opening, zonule)
    assert read.inside
    assert read.force_mn == pytest.approx(direct.peak_force_mn, rel=0.03)
    assert read.zonule_stretch_mm == pytest.approx(direct.zonule_stretch_mm, rel=0.03)


def test_on_a_point_it_is_the_table() -> None:
    table = flap_table()
    wide = table.diameter_over_bag[1] * 10
    skin = 0.8 * 14
    read = estimate(wide, 0.5 * wide, wide / 1.3, table.zonule_over_skin[2] * skin)
    assert read.force_mn == pytest.approx(table.push[3, 1, 1, 2] * skin * wide / 1.3, rel=1e-9)
    assert read.zonule_stretch_mm == pytest.approx(table.stretch[3, 1, 1, 2] * 5, rel=1e-9)


def test_its_first_line_names_how_it_was_made() -> None:
    text = files("forestay.mechanics").joinpath(TABLE).read_text(encoding="utf-8")
    assert text.splitlines()[0] == "# Made by: python -m benchmarks.flap_table"


def test_the_table_is_whole_and_rises_with_the_ratio() -> None:
    table = flap_table()
    assert table.push.shape == table.stretch.shape == (7, 3, 3, 5)
    assert (np.diff(table.push, axis=0) > 0).all()
    assert (np.diff(table.stretch, axis=0) > 0).all()
    assert (np.diff(table.stretch, axis=3) < 0).all()  # a stiffer zonule is dragged less


@steady
@given(wide=st.floats(5, 11), flat=st.floats(0.2, 0.9), opening=st.floats(2, 12), zonule=st.floats(0.1, 500))
def test_any_eye_has_an_answer(wide: float, flat: float, opening: float, zonule: float) -> None:
    read = estimate(wide, flat * wide, opening, zonule)
    assert np.isfinite([read.force_mn, read.zonule_stretch_mm]).all()
    assert read.force_mn >= 0
    assert (read.force_mn == 0) == (opening >= wide * (1 - 1e-8))


@steady
@given(wide=st.floats(6.6, 9.4), opening=st.floats(4.5, 6.5), zonule=st.floats(3, 150), more=st.floats(0.05, 0.5))
def test_a_larger_opening_needs_less(wide: float, opening: float, zonule: float, more: float) -> None:
    tight, loose = (estimate(wide, 0.45 * wide, d, zonule) for d in (opening, opening + more))
    assert loose.force_mn <= tight.force_mn
    assert loose.zonule_stretch_mm <= tight.zonule_stretch_mm


def test_draws_are_the_single_answers_and_missing_stays_missing() -> None:
    wide = np.array([7.1, 8.0, np.nan, 8.6])
    many = estimate(wide, 3.5, 5.5, 10.6)
    np.testing.assert_allclose(many.force_mn, [estimate(float(w), 3.5, 5.5, 10.6).force_mn for w in wide], rtol=1e-12)
    assert many.inside.tolist() == [True, True, False, True]
    assert np.isnan(many.force_mn).tolist() == [False, False, True, False]


def test_beyond_the_table_it_says_so() -> None:
    assert not estimate(8.0, 4.0, 4.0, 10.6).inside
    assert not estimate(8.0, 4.0, 6.0, 0.5).inside
    assert estimate(8.0, 4.0, 9.0, 10.6).inside


def test_a_skin_of_another_curve_is_refused() -> None:
    with pytest.raises(EvidenceError) as told:
        estimate(8.0, 4.0, 6.0, 10.6, replace(CAPSULE, stiffening=2.0))
    assert told.value.field == "flap.stiffening"


def test_a_thicker_skin_scales() -> None:
    double = replace(CAPSULE, thickness_um=2 * CAPSULE.thickness_um)
    assert estimate(8.0, 4.0, 6.0, 40.0, double).force_mn == pytest.approx(2 * estimate(8.0, 4.0, 6.0, 20.0).force_mn)


def test_no_opening_is_refused() -> None:
    with pytest.raises(InvalidInput):
        estimate(8.0, 4.0, 0.0, 10.6)


def test_a_hundred_thousand_eyes_give_no_nonsense() -> None:
    source = np.random.default_rng(13)
    wide = source.uniform(4, 11, 100_000)
    read = estimate(wide, wide * source.uniform(0.2, 1, 100_000), source.uniform(2, 12, 100_000), 10.6)
    assert np.isfinite(read.force_mn).all()
    assert (read.zonule_stretch_mm >= 0).all()
