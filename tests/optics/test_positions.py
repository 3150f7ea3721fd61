"""Lens positions: sulcus table of common practice, claw and angle constants, what the shift does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.optics import formulas, positions
from forestay.optics.lens_constants import AConstant, ConversionConstants, SurgeonFactor, as_surgeon_factor
from forestay.optics.lens_model import LensModel
from forestay.optics.positions import POSITIONS
from forestay.optics.vergence import VergenceConstants

SULCUS = [
    # teaching table of common practice, lens distance 5.20 -> 4.70 mm, corneal power 43.12 D, plano (evidence 4.2)
    (30.0, 28.55),
    (28.5, 27.14),
    (27.0, 25.73),
    (25.0, 23.84),
    (22.0, 21.00),
    (20.0, 19.11),
    (18.0, 17.21),
    (17.0, 16.26),
    (15.5, 14.83),
]
SHIFTS = (-0.25, -0.50, -0.75, -1.00, 0.25, 0.50)
CHANGES = {
    # power change by shift, K 44, lens distance 5.2 mm, plano (evidence 4.2, computed there)
    10: (-0.21, -0.42, -0.62, -0.82, 0.22, 0.45),
    15: (-0.33, -0.66, -0.97, -1.27, 0.35, 0.70),
    18: (-0.41, -0.81, -1.19, -1.56, 0.43, 0.87),
    20: (-0.46, -0.91, -1.34, -1.76, 0.48, 0.98),
    22: (-0.52, -1.02, -1.50, -1.97, 0.54, 1.10),
    24: (-0.57, -1.13, -1.66, -2.18, 0.60, 1.21),
    28: (-0.69, -1.35, -1.99, -2.61, 0.72, 1.46),
    30: (-0.75, -1.47, -2.17, -2.84, 0.78, 1.59),
}
OWN_CONSTANTS = {
    # emmetropia power by SRK/T at K 44 for lenses with their own A constant (evidence 4.3, computed there)
    115.3: (23.76, 16.86, 10.52, 1.51),
    117.5: (26.93, 19.03, 11.83, 1.69),
}


def moved(optics: VergenceConstants, *, power: float, shift: float, cornea: float, target: float = 0.0) -> float:
    return float(
        positions.shifted_power_d(
            bag_power_d=power,
            lens_distance_mm=5.2,
            lens_shift_mm=shift,
            corneal_power_d=cornea,
            target_d=target,
            constants=optics,
        )
    )


@pytest.mark.parametrize(("bag", "sulcus"), SULCUS)
def test_the_sulcus_table_of_common_practice(
    optics: VergenceConstants, read: Callable[[type[Any]], Any], bag: float, sulcus: float
) -> None:
    shift = read(positions.Sulcus).shift_mm
    assert moved(optics, power=bag, shift=shift, cornea=43.12) == pytest.approx(sulcus, abs=0.01)


@pytest.mark.parametrize("bag", CHANGES)
def test_power_change_by_shift(optics: VergenceConstants, bag: int) -> None:
    changes = [moved(optics, power=bag, shift=shift, cornea=44.0) - bag for shift in SHIFTS]
    assert changes == pytest.approx(CHANGES[bag], abs=0.0051)


@settings(deadline=None, derandomize=True)
@given(power=st.floats(-15.0, 35.0), target=st.floats(-4.0, 3.0))
def test_in_front_of_the_bag_the_power_shrinks_towards_zero(
    optics: VergenceConstants, power: float, target: float
) -> None:
    sulcus = moved(optics, power=power, shift=-0.5, cornea=43.12, target=target)
    if abs(power) < 1e-6:
        assert sulcus == pytest.approx(0, abs=1e-5)
    elif power > 0:
        assert sulcus < power
    else:
        assert sulcus > power


@pytest.mark.parametrize(("position", "a"), [("anterior-chamber", 115.3), ("retropupillary-iris", 117.5)], ids=str)
@pytest.mark.parametrize("bag", [AConstant(118.4), AConstant(119.2), "sf"], ids=["118.4", "119.2", "factor"])
def test_lenses_with_their_own_constant(
    *,
    models: dict[str, LensModel],
    optics: VergenceConstants,
    read: Callable[[type[Any]], Any],
    position: Any,
    a: float,
    bag: Any,
) -> None:
    conversion = read(ConversionConstants)
    constant = as_surgeon_factor(AConstant(118.4), conversion=conversion) if bag == "sf" else bag
    assert isinstance(constant, AConstant | SurgeonFactor)
    shift = positions.place(position, bag_constant=constant, read=read, conversion=conversion).shift_mm
    powers = formulas.power_d(
        model=models["SRK/T"],
        axial_length_mm=np.array([21.0, 23.5, 26.0, 30.0]),
        k_d=44.0,
        chamber_depth_mm=None,
        constant=constant,
        target_d=0.0,
        vergence_constants=optics,
        lens_shift_mm=shift,
    )
    assert powers == pytest.approx(OWN_CONSTANTS[a], abs=0.0051)


def test_where_each_position_lies(read: Callable[[type[Any]], Any]) -> None:
    told = {
        p: positions.place(p, bag_constant=AConstant(118.4), read=read, conversion=read(ConversionConstants))
        for p in POSITIONS
    }
    assert told["bag"] == told["aphakia"] == positions.Shifted(0.0, 0.0)
    assert told["anterior-chamber"].shift_mm < told["retropupillary-iris"].shift_mm < 0
    assert told["sulcus"].shift_mm == -0.5  # common practice
    assert told["optic-capture"].shift_mm == told["scleral"].shift_mm == 0
    assert all(told[p].spread_mm > 0 for p in POSITIONS if p not in ("bag", "aphakia"))


def test_the_nearer_the_limbus_the_farther_forward(read: Callable[[type[Any]], Any]) -> None:
    # sutured 1.0 mm behind the limbus: 0.53 mm forward (evidence 4.3, from -0.69 D at 20 D); 2.0 mm: near the bag
    def shift(distance: float | None) -> float:
        return positions.place(
            "scleral",
            bag_constant=AConstant(118.4),
            read=read,
            conversion=read(ConversionConstants),
            scleral_distance_mm=distance,
        ).shift_mm

    assert shift(1.0) == pytest.approx(-0.53, abs=1e-12)
    assert shift(2.0) == shift(None) == 0
    assert shift(1.0) < shift(1.5) < shift(2.0) < shift(2.5)


def test_the_published_error_of_a_lens_sutured_forward(
    models: dict[str, LensModel], optics: VergenceConstants, read: Callable[[type[Any]], Any]
) -> None:
    # 17 eyes, evidence 4.3: -0.69 +/- 0.19 D with the bag power 1.0 mm behind the limbus
    place = positions.place(
        "scleral",
        bag_constant=AConstant(118.4),
        read=read,
        conversion=read(ConversionConstants),
        scleral_distance_mm=1.0,
    )
    eye: dict[str, Any] = {
        "model": models["SRK/T"],
        "axial_length_mm": 23.5,
        "k_d": 43.5,
        "chamber_depth_mm": None,
        "constant": AConstant(118.4),
        "vergence_constants": optics,
    }
    bag = formulas.power_d(target_d=0.0, **eye)
    left = formulas.refraction_d(power_d=bag, lens_shift_mm=place.shift_mm, **eye)
    assert left == pytest.approx(-0.69, abs=0.03)


@pytest.mark.parametrize(("ultrasound", "a"), [(False, 115.7), (True, 115.0)])
def test_a_claw_lens_over_the_pupil_by_its_constant(
    *, read: Callable[[type[Any]], Any], ultrasound: bool, a: float
) -> None:
    # evidence 4.3: A 115.0 by ultrasound, 115.7 by optical length; 0.62467 mm for each unit of A
    place = positions.place(
        "prepupillary-iris",
        bag_constant=AConstant(118.4),
        read=read,
        conversion=read(ConversionConstants),
        ultrasound=ultrasound,
    )
    assert place.shift_mm == pytest.approx(0.62467 * (a - 118.4), abs=1e-9)


@pytest.mark.parametrize(
    ("a", "powers"),
    # evidence on lens power 4.3: SRK/T for plano at K 44, lengths 21.0, 23.5, 26.0 and 30.0 mm
    [
        (115.0, (23.38, 16.60, 10.36, 1.49)),
        (115.3, (23.76, 16.86, 10.52, 1.51)),
        (115.7, (24.30, 17.23, 10.74, 1.54)),
        (116.7, (25.71, 18.20, 11.33, 1.62)),
        (117.5, (26.93, 19.03, 11.83, 1.69)),
        (117.7, (27.25, 19.25, 11.96, 1.71)),
        (118.4, (28.42, 20.04, 12.43, 1.78)),
    ],
)
def test_the_constants_of_backup_positions(
    models: dict[str, LensModel], optics: VergenceConstants, a: float, powers: tuple[float, ...]
) -> None:
    found = formulas.power_d(
        model=models["SRK/T"],
        axial_length_mm=np.array([21.0, 23.5, 26.0, 30.0]),
        k_d=44.0,
        chamber_depth_mm=None,
        constant=AConstant(a),
        target_d=0.0,
        vergence_constants=optics,
    )
    assert np.asarray(found) == pytest.approx(powers, abs=0.0051)
