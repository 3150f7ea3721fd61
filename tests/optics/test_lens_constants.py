"""Relations between lens constants against the published triple, and round trips."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.optics import lens_constants
from forestay.optics.lens_constants import (
    AConstant,
    ConversionConstants,
    HaigisConstants,
    PersonalDepth,
    SurgeonFactor,
    convert,
    mean_constant,
)


@pytest.fixture(scope="module")
def conversion(read: Callable[[type[Any]], Any]) -> ConversionConstants:
    found: ConversionConstants = read(ConversionConstants)
    return found


def test_the_printed_triple(conversion: ConversionConstants) -> None:
    # read in print (Holladay, J Cataract Refract Surg 2003;29:176): A 118.5 = depth 5.26 mm = surgeon factor 1.51 mm
    a = AConstant(118.5)
    assert lens_constants.as_personal_depth(a, conversion=conversion).pacd_mm == pytest.approx(5.26, abs=0.01)
    assert lens_constants.as_surgeon_factor(a, conversion=conversion).sf_mm == pytest.approx(1.51, abs=0.01)
    assert lens_constants.as_surgeon_factor(PersonalDepth(5.26), conversion=conversion).sf_mm == pytest.approx(
        1.5093, abs=5e-5
    )


def test_the_constants_of_the_grid(conversion: ConversionConstants) -> None:
    # evidence on lens power, head of table 8.1, A 118.4
    a = AConstant(118.4)
    assert lens_constants.as_personal_depth(a, conversion=conversion).pacd_mm == pytest.approx(5.198688, abs=1e-9)
    assert lens_constants.as_surgeon_factor(a, conversion=conversion).sf_mm == pytest.approx(1.449920, abs=1e-9)
    haigis = lens_constants.as_haigis(a, conversion=conversion)
    assert haigis.a0_mm == pytest.approx(1.526928, abs=1e-9)
    assert (haigis.a1, haigis.a2) == (0.4, 0.1)


@settings(deadline=None, derandomize=True)
@given(a=st.floats(110.0, 125.0), kind=st.sampled_from(["a", "sf", "pacd", "haigis"]))
def test_there_and_back(conversion: ConversionConstants, a: float, kind: Any) -> None:
    there = convert(AConstant(a), to=kind, conversion=conversion)
    assert there.kind == kind
    assert lens_constants.as_a(there, conversion=conversion).a == pytest.approx(a, abs=1e-9)
    assert convert(there, to=kind, conversion=conversion) is there


def test_surgeon_factor_and_personal_depth_have_their_own_relation(conversion: ConversionConstants) -> None:
    depth = lens_constants.as_personal_depth(SurgeonFactor(1.5093), conversion=conversion)
    assert depth.pacd_mm == pytest.approx((1.5093 + 3.595) / 0.9704, abs=1e-9)


def test_means_keep_the_kind() -> None:
    assert mean_constant([AConstant(118.0), AConstant(119.0)]) == AConstant(118.5)
    assert mean_constant([SurgeonFactor(1.0), SurgeonFactor(2.0)]) == SurgeonFactor(1.5)
    assert mean_constant([PersonalDepth(5.0)]) == PersonalDepth(5.0)
    assert mean_constant([HaigisConstants(1.0, 0.4, 0.1), HaigisConstants(2.0, 0.4, 0.1)]) == HaigisConstants(
        1.5, 0.4, 0.1
    )
