"""Ultrasound length: the worked readings of the evidence (lens power 8.3), and what is added and refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import ForestayError as InputError
from forestay.errors import InvalidInput
from forestay.optics import ultrasound


def length(read: Callable[[type[Any]], Any], **keys: Any) -> ultrasound.Length:
    usual: dict[str, Any] = {
        "assumed_velocity_m_s": 1532.0,
        "eye_state": "phakic",
        "lens_thickness_mm": None,
        "method": "immersion",
    }
    return ultrasound.length(**{**usual, **keys}, read=read)


@pytest.mark.parametrize(
    ("velocity", "reading", "true"),
    [
        # lens 4.7 mm, no cornea term (evidence 8.3)
        (1532.0, 19.688, 20.0),
        (1532.0, 23.188, 23.5),
        (1532.0, 29.688, 30.0),
        (1550.0, 19.919, 20.0),
        (1550.0, 23.460, 23.5),
        (1550.0, 30.037, 30.0),
    ],
)
def test_by_segments(read: Callable[[type[Any]], Any], velocity: float, reading: float, true: float) -> None:
    found = length(read, measured_mm=reading, assumed_velocity_m_s=velocity, lens_thickness_mm=4.7)
    assert found.axial_length_mm == pytest.approx(true, abs=6e-4)
    assert found.doubts == ()


def test_an_aphakic_eye_read_at_the_phakic_velocity(read: Callable[[type[Any]], Any]) -> None:
    # evidence 8.3: 23.50 at 1550 -> 23.227 at 1532
    found = length(read, measured_mm=23.5, assumed_velocity_m_s=1550.0, eye_state="aphakic")
    assert found.axial_length_mm == pytest.approx(23.227, abs=5e-4)
    assert found.doubts == ()


def test_a_phakic_eye_read_at_its_own_velocity_is_left_alone(read: Callable[[type[Any]], Any]) -> None:
    found = length(read, measured_mm=23.5, assumed_velocity_m_s=1550.0)
    assert found.axial_length_mm == pytest.approx(23.5, abs=1e-12)
    assert [d.code for d in found.doubts] == ["whole-eye-velocity"]


def test_a_dense_lens_is_a_little_slower(read: Callable[[type[Any]], Any]) -> None:
    # evidence 3.1: 1629 instead of 1641 m/s shortens a 5 mm lens by 0.037 mm at its own display; here the lens is known,
    # so slower sound leaves less time for fluid: 5 (1532/1629 - 1532/1641) = 0.0344 mm shorter eye
    plain = length(read, measured_mm=23.5, lens_thickness_mm=5.0)
    dense = length(read, measured_mm=23.5, lens_thickness_mm=5.0, eye_state="dense-cataract")
    expected = 5 * (1532 / 1629 - 1532 / 1641)
    assert float(plain.axial_length_mm) - float(dense.axial_length_mm) == pytest.approx(expected, abs=1e-9)


def test_contact_adds_the_mean_compression_and_widens(read: Callable[[type[Any]], Any]) -> None:
    # PMC4881192, 92 eyes, read: immersion minus contact 0.20 +/- 0.26 mm
    immersion = length(read, measured_mm=22.4, lens_thickness_mm=4.85)
    contact = length(read, measured_mm=22.4, lens_thickness_mm=4.85, method="contact")
    assert float(contact.axial_length_mm) - float(immersion.axial_length_mm) == pytest.approx(0.20, abs=1e-12)
    assert contact.added_back_mm == 0.20
    assert contact.sd_mm == 0.26 > immersion.sd_mm
    assert [d.code for d in contact.doubts] == ["contact-compression-added-back"]


def test_an_aphakic_eye_has_no_lens_thickness(read: Callable[[type[Any]], Any]) -> None:
    with pytest.raises(InvalidInput, match="aphakic") as caught:
        length(read, measured_mm=23.5, eye_state="aphakic", lens_thickness_mm=4.0)
    assert caught.value.field == "lens_thickness_mm"


def test_arrays_and_missing_readings(read: Callable[[type[Any]], Any]) -> None:
    found = length(read, measured_mm=np.array([22.0, np.nan, 24.0]), lens_thickness_mm=4.7).axial_length_mm
    assert np.isfinite(found).tolist() == [True, False, True]
    assert found[2] == length(read, measured_mm=24.0, lens_thickness_mm=4.7).axial_length_mm  # type: ignore[index]


@settings(deadline=None, derandomize=True)
@given(
    reading=st.floats(18.0, 32.0),
    more=st.floats(0.001, 2.0),
    state=st.sampled_from(["phakic", "dense-cataract", "aphakic"]),
    thickness=st.floats(2.5, 6.5) | st.none(),
    method=st.sampled_from(["immersion", "contact"]),
)
def test_a_longer_reading_is_a_longer_eye(
    *, read: Callable[[type[Any]], Any], reading: float, more: float, state: str, thickness: float | None, method: str
) -> None:
    lens = None if state == "aphakic" else thickness
    keys = {"eye_state": state, "lens_thickness_mm": lens, "method": method}
    short, long = (length(read, measured_mm=r, **keys).axial_length_mm for r in (reading, reading + more))
    assert short < long


@pytest.mark.parametrize(("reading", "true"), [(19.688, 20.044), (23.188, 23.543), (29.688, 30.042)])
def test_the_average_lens_by_length(read: Callable[[type[Any]], Any], reading: float, true: float) -> None:
    # evidence 8.3: Hoffer's correction of readings at 1532 m/s
    found = length(read, measured_mm=reading)
    assert found.ways_mm["by-length"] == pytest.approx(true, abs=6e-4)
    assert found.way == "whole-eye"
    at_1550 = length(read, measured_mm=reading * 1550 / 1532, assumed_velocity_m_s=1550.0)
    assert at_1550.ways_mm["by-length"] == pytest.approx(true, abs=6e-4)


@pytest.mark.parametrize(
    ("material", "thickness", "true"),
    [
        # evidence 8.3: 23.50 at 1532 m/s with PMMA 0.7 mm, silicone 1.0 mm; glass by its factor 0.75 (3.2)
        ("pmma", 0.7, 23.848),
        ("silicone", 1.0, 22.980),
        ("glass", 0.4, 23.5 + 0.04 + 0.75 * 0.4),
    ],
)
def test_an_implanted_lens(
    read: Callable[[type[Any]], Any], material: ultrasound.Material, thickness: float, true: float
) -> None:
    keys: dict[str, Any] = {"eye_state": "pseudophakic", "material": material, "implant_thickness_mm": thickness}
    assert length(read, measured_mm=23.5, **keys).axial_length_mm == pytest.approx(true, abs=5e-4)


@pytest.mark.parametrize(("velocity", "factor"), [(2660.0, 0.424), (980.0, -0.563), (2026.0, 0.244)])
def test_the_factors_follow_from_the_velocities(velocity: float, factor: float) -> None:
    # evidence 3.2: 1 - 1532 / v
    with_lens = ultrasound.segmental_mm(
        measured_mm=23.5,
        assumed_velocity_m_s=1532.0,
        lens_thickness_mm=1.0,
        lens_velocity_m_s=velocity,
        fluid_velocity_m_s=1532.0,
    )
    assert with_lens - 23.5 == pytest.approx(factor, abs=5e-4)


@pytest.mark.parametrize(("state", "velocity"), [("oil-filled", 1139), ("oil-filled-aphakic", 1052)])
def test_an_eye_full_of_oil(read: Callable[[type[Any]], Any], state: ultrasound.EyeState, velocity: float) -> None:
    # Hoffer, evidence 3.1: whole eye 1139 m/s phakic, 1052 m/s aphakic
    found = length(read, measured_mm=31.0, eye_state=state)
    assert found.axial_length_mm == pytest.approx(31.0 * velocity / 1532, abs=1e-9)
    assert found.sd_mm > length(read, measured_mm=31.0).sd_mm
    assert [d.code for d in found.doubts] == ["oil-fill-unknown"]


def test_a_swollen_lens_is_slower_than_a_dense_one(read: Callable[[type[Any]], Any]) -> None:
    # evidence 3.1: about 1590 to 1610 m/s against 1629 m/s
    keys: dict[str, Any] = {"measured_mm": 23.5, "lens_thickness_mm": 5.5}
    dense, swollen = (length(read, eye_state=s, **keys).axial_length_mm for s in ("dense-cataract", "swollen-lens"))
    assert float(dense) - float(swollen) == pytest.approx(5.5 * (1532 / 1600 - 1532 / 1629), abs=1e-9)


@pytest.mark.parametrize(
    ("keys", "field"),
    [
        ({"eye_state": "pseudophakic"}, "lens_material"),
        ({"eye_state": "pseudophakic", "material": "pmma"}, "implant_thickness_mm"),
        ({"eye_state": "phakic", "material": "pmma"}, "lens_material"),
        ({"eye_state": "aphakic", "implant_thickness_mm": 0.8}, "implant_thickness_mm"),
    ],
)
def test_the_lens_that_is_told_must_be_the_one_that_is_there(
    read: Callable[[type[Any]], Any], keys: dict[str, Any], field: str
) -> None:
    with pytest.raises(InputError) as caught:
        length(read, measured_mm=23.5, **keys)
    assert caught.value.field == field
