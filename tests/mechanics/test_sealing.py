"""The seal by geometry: against the cadaver tests of the incision evidence, section 3.1."""

from __future__ import annotations

import numpy as np
import pytest

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.sealing import SealingConstants, corneal_seal, radial_length_mm, scleral_seal

LIMITS = default_evidence().reader().constants(SealingConstants)
MMHG_PER_PSI = 51.7149
"""Unit conversion: 1 psi = 6894.757 Pa, 1 mmHg = 133.3224 Pa."""


def seal(width: float, length: float, lip: float) -> tuple[float, ...]:
    found = scleral_seal(width_mm=width, length_mm=length, inner_lip_length_mm=lip, constants=LIMITS)
    return float(found.square), float(found.lip_best), float(found.rests_on_lip), float(found.think_of_suture)


def test_the_tunnel_that_held_best_is_square_with_its_lip() -> None:
    # Ernest 1993, 10 cadaver eyes: 4.0 x 4.0 with a lip of 1.5
    assert seal(4.0, 4.0, 1.5) == (1, 1, 0, 0)


def test_wider_than_long_is_worse_and_so_is_a_short_lip() -> None:
    # same tests: worse when wider, and with a shorter lip
    assert seal(4.5, 4.0, 1.5)[0] == 0
    assert seal(4.0, 4.0, 1.4)[1] == 0
    assert seal(4.0, 4.0, 0.9)[3] == 1  # taught: a lip below 1 mm wants a suture


def test_the_tunnel_for_a_whole_nucleus_rests_on_its_lip() -> None:
    # incision evidence: 6.5 x 4 mm is not square, ratio 0.62
    found = scleral_seal(width_mm=6.5, length_mm=4.0, inner_lip_length_mm=1.5, constants=LIMITS)
    assert found.length_over_width == pytest.approx(0.62, abs=0.005)
    assert (found.square, found.rests_on_lip, found.square_length_mm) == (0.0, 1.0, 6.5)
    assert seal(7.5, 4.0, 1.5)[3] == 1  # beyond 7 mm a suture is taught


@pytest.mark.parametrize(
    ("width", "length", "good"),
    [(3.2, 3.2, 1), (3.2, 2.0, 1), (3.5, 2.0, 1), (3.2, 1.75, 0), (4.0, 2.0, 0)],
)
def test_clear_corneal_cuts_need_two_millimetres(width: float, length: float, good: float) -> None:
    # doi 10.1016/s0886-3350(96)80310-5: 3.0 to 3.5 mm wide, from 2.0 mm of length on much stronger
    assert corneal_seal(width_mm=width, length_mm=length, constants=LIMITS) == good


def test_the_point_load_is_far_beyond_any_pressure() -> None:
    # incision evidence (computed): 525 psi = 27,150 mmHg, so it cannot be read as a pressure in an eye
    assert LIMITS.point_load_psi * MMHG_PER_PSI == pytest.approx(27_150, rel=1e-4)


def test_length_is_the_way_behind_the_limbus_and_the_lip() -> None:
    assert radial_length_mm(distance_from_limbus_mm=2.0, inner_lip_length_mm=1.5) == 3.5
    many = radial_length_mm(distance_from_limbus_mm=np.array([1.5, np.nan]), inner_lip_length_mm=1.5)
    assert np.isnan(many).tolist() == [False, True]


def test_draws_and_missing_values() -> None:
    found = scleral_seal(
        width_mm=np.array([4.0, np.nan, 6.5]), length_mm=4.0, inner_lip_length_mm=1.5, constants=LIMITS
    )
    assert np.isnan(found.square).tolist() == [False, True, False]
    assert found.rests_on_lip[[0, 2]].tolist() == [0.0, 1.0]


@pytest.mark.parametrize(
    ("width", "length", "lip", "field"),
    [(0.0, 4.0, 1.5, "width_mm"), (6.5, 0.0, 0.0, "length_mm"), (6.5, 4.0, 4.5, "inner_lip_length_mm")],
)
def test_bad_input_names_the_field(width: float, length: float, lip: float, field: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        seal(width, length, lip)
    assert raised.value.field == field
