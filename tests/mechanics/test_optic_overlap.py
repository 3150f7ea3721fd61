"""Rim on optic, and contraction, against the published figures and exact plane geometry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.optic_overlap import (
    ContractionConstants,
    contracted,
    diameter_after_area_loss_mm,
    optic_overlap,
)

CONSTANTS = default_evidence().reader().constants(ContractionConstants)
steady = settings(deadline=None, derandomize=True, max_examples=80)


@pytest.mark.parametrize(("opening", "overlap"), [(5.0, 0.50), (5.25, 0.375), (5.5, 0.25), (6.5, -0.25)])
def test_centred_overlap_on_a_6_mm_optic(opening: float, overlap: float) -> None:
    """(6 - d) / 2: mechanics evidence, section 7."""
    found = optic_overlap(optic_mm=6.0, capsulorhexis_mm=opening, decentration_mm=0.0)
    assert found.least_mm == found.greatest_mm == pytest.approx(overlap)
    assert found.covered_share == (1.0 if overlap >= 0 else 0.0)


@steady
@given(optic=st.floats(4, 8), opening=st.floats(2, 9), apart=st.floats(0, 3))
def test_a_count_round_the_rim_agrees(optic: float, opening: float, apart: float) -> None:
    """Independent: 20,000 points of the rim, counted inside the optic."""
    angle = np.arange(20_000) * 2 * np.pi / 20_000
    far = np.hypot(apart + opening / 2 * np.cos(angle), opening / 2 * np.sin(angle))
    found = optic_overlap(optic_mm=optic, capsulorhexis_mm=opening, decentration_mm=apart)
    assert 0 <= found.covered_share <= 1
    touching = abs(float(found.least_mm)) < 1e-3 or abs(float(found.greatest_mm)) < 1e-3
    assert touching or found.covered_share == pytest.approx((far <= optic / 2).mean(), abs=2e-3)
    assert (found.least_mm >= 0) <= (found.covered_share == 1)


def test_a_6_mm_opening_at_three_months() -> None:
    """13.87 % of the diameter in 166 eyes: 5.168 mm, area - 25.8 % (case 26)."""
    later = contracted(capsulorhexis_mm=6.0, pseudoexfoliation=False, constants=CONSTANTS)
    assert later.three_months_mm == pytest.approx(5.168, abs=1e-3)
    assert 1 - (later.three_months_mm / 6) ** 2 == pytest.approx(0.258, abs=1e-3)


@pytest.mark.parametrize(("area", "diameter"), [(0.25, 13.4), (0.10, 5.1)])
def test_area_lost_as_diameter_lost(area: float, diameter: float) -> None:
    """Case 27: area - 25 % is diameter - 13.4 %, - 10 % is - 5.1 %."""
    assert 100 * (1 - diameter_after_area_loss_mm(capsulorhexis_mm=1.0, area_loss=area)) == pytest.approx(
        diameter, abs=0.05
    )


def test_pseudoexfoliation_shrinks_more() -> None:
    """Hayashi 1998: about 25 % of the area against less than 10 %."""
    ill, well = (contracted(capsulorhexis_mm=5.5, pseudoexfoliation=p, constants=CONSTANTS) for p in (True, False))
    assert ill.year_mm < well.year_mm
    assert (ill.year_mm / 5.5) ** 2 == pytest.approx(0.75)


def test_draws_and_missing_values() -> None:
    found = optic_overlap(optic_mm=6.0, capsulorhexis_mm=np.array([5.0, np.nan]), decentration_mm=0.2)
    assert np.asarray(found.least_mm)[0] == pytest.approx(0.3)
    assert np.isnan(np.asarray(found.covered_share)).tolist() == [False, True]


def test_a_hundred_thousand_eyes_give_no_nonsense() -> None:
    source = np.random.default_rng(11)
    found = optic_overlap(
        optic_mm=source.uniform(4, 8, 100_000),
        capsulorhexis_mm=source.uniform(0.5, 12, 100_000),
        decentration_mm=source.uniform(0, 3, 100_000),
    )
    share = np.asarray(found.covered_share)
    assert ((share >= 0) & (share <= 1)).all()


def test_a_loss_of_more_than_all_is_refused() -> None:
    with pytest.raises(InvalidInput):
        diameter_after_area_loss_mm(capsulorhexis_mm=5.0, area_loss=1.2)
    with pytest.raises(InvalidInput):
        optic_overlap(optic_mm=6.0, capsulorhexis_mm=5.0, decentration_mm=-0.1)
