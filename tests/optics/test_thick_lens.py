"""The shape of a thick lens and its place in an eye: against worked values, against matrices, and in itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.optics import schematic, thick_eye, thick_power
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.thick_eye import CENTRED, Place, ThickEyeConstants
from forestay.optics.thick_lens import LensShapeConstants, ThickLens, shaped, usual_thickness_mm
from forestay.optics.thick_power import Make, Site, Subject
from forestay.optics.vergence import VergenceConstants

Read = Callable[[type[Any]], Any]
OPTIC = LensShapeConstants(optic_diameter_mm=6.0, edge_mm=0.25)


def matrix(lens: ThickLens) -> np.ndarray:
    """The lens by surface matrices of the schematic eyes, written apart from the closed form."""
    step = 1000 * (lens.index - 1.336)
    front = np.array([[1, 0], [-step * float(lens.front_per_mm), 1]])
    back = np.array([[1, 0], [step * float(lens.back_per_mm), 1]])
    return np.asarray(back @ np.array([[1, float(lens.thickness_mm) / 1000 / lens.index], [0, 1]]) @ front)


@given(
    power=st.floats(-15, 45),
    index=st.floats(1.41, 1.6),
    shape=st.floats(-2, 2),
    thickness=st.floats(0.2, 1.5),
)
def test_the_closed_form_has_power_and_shape_asked_for(
    power: float, index: float, shape: float, thickness: float
) -> None:
    lens = shaped(power_d=power, index=index, humour_index=1.336, shape_factor=shape, thickness_mm=thickness)
    if not np.isfinite(lens.front_per_mm):  # only a strong negative lens far from equal sides
        assert power < 0
        assert abs(shape) > 1
        return
    whole = matrix(lens)
    assert -whole[1, 0] == pytest.approx(power, abs=1e-10)
    c1, c2 = float(lens.front_per_mm), float(lens.back_per_mm)
    assert c1 + c2 == pytest.approx(shape * (c1 - c2), abs=1e-14)
    if abs(power) > 0.1:
        front, back = lens.principal_planes_mm(humour_index=1.336)
        # unit magnification between principal planes: A = 1 + P h / n in front, D = 1 - P h'/ n behind (matrix optics)
        assert float(front) == pytest.approx(1336 * (1 - whole[1, 1]) / power, abs=1e-7)
        assert float(back) == pytest.approx(-1336 * (1 - whole[0, 0]) / power, abs=1e-7)


def test_the_worked_lens() -> None:
    # evidence on lens power 8.3: n 1.47, 22 D, t 0.8 mm: r 12.145 mm, h 0.3646 mm
    lens = shaped(power_d=22.0, index=1.47, humour_index=1.336, shape_factor=0.0, thickness_mm=0.8)
    assert 1 / float(lens.front_per_mm) == pytest.approx(12.145, abs=5e-4)
    assert float(lens.principal_planes_mm(humour_index=1.336)[0]) == pytest.approx(0.3646, abs=5e-5)


def test_arrays_and_no_power() -> None:
    powers = np.array([-5.0, 0.0, 22.0])
    many = shaped(power_d=powers, index=1.47, humour_index=1.336, shape_factor=0.5, thickness_mm=0.8)
    for i, power in enumerate(powers):
        one = shaped(power_d=float(power), index=1.47, humour_index=1.336, shape_factor=0.5, thickness_mm=0.8)
        assert float(one.front_per_mm) == many.front_per_mm[i]  # type: ignore[index]
    assert many.front_per_mm[1] == 0  # type: ignore[index]
    assert np.isfinite(many.principal_planes_mm(humour_index=1.336)).all()


def test_reversing_twice_is_nothing_and_once_changes_the_sign_of_the_factor() -> None:
    lens = shaped(power_d=20.0, index=1.5, humour_index=1.336, shape_factor=0.7, thickness_mm=0.9)
    assert lens.reversed().reversed() == lens
    other = shaped(power_d=20.0, index=1.5, humour_index=1.336, shape_factor=-0.7, thickness_mm=0.9)
    assert float(lens.reversed().front_per_mm) == pytest.approx(float(other.front_per_mm), abs=1e-16)


def test_the_usual_thickness_leaves_the_edge() -> None:
    for power, shape in ((10.0, 0.0), (22.0, 0.5), (30.0, -1.0)):
        how = {"power_d": power, "index": 1.47, "humour_index": 1.336, "shape_factor": shape}
        thickness = float(usual_thickness_mm(**how, constants=OPTIC))  # type: ignore[arg-type]
        thin = shaped(**how, thickness_mm=0.0)  # type: ignore[arg-type]
        sags = [
            1 / c - np.sign(c) * np.sqrt(1 / c**2 - 9) if c else 0.0
            for c in (float(thin.front_per_mm), float(thin.back_per_mm))
        ]
        assert thickness - sags[0] + sags[1] == pytest.approx(0.25, abs=1e-12)
    assert float(
        usual_thickness_mm(power_d=-10.0, index=1.47, humour_index=1.336, shape_factor=0.0, constants=OPTIC)
    ) == pytest.approx(0.25)


# --------------------------------------------------------------------------------------- in an eye


def subject(read: Read, *, pupil_mm: float = 2e-4, shape: float = 0.0, site: Site | None = None) -> Subject:
    constants = read(ThickEyeConstants)
    return Subject(
        cornea=thick_eye.cornea(
            k_mean_d=44.0,
            astigmatism=DoubleAngle(0.0, 0.0),
            keratometric_index=1.3375,
            thickness_mm=0.54,
            constants=constants,
        ),
        axial_length_mm=23.5,
        pupil_mm=pupil_mm,
        make=Make(1.47, shape, 0.0, 0.0, 0.9, OPTIC),
        site=site or Site(4.3, "front"),
        eye=constants,
        vergence=read(VergenceConstants),
    )


def test_the_power_near_the_axis_is_that_of_paraxial_matrices(read: Read) -> None:
    # the schematic eyes' matrices, an independent code: with the power found, parallel light is sharp at the receptors
    asked = subject(read)
    power = asked.power_d(target_d=0.0, start_d=20.0)
    lens = asked.make.lens(power_d=power, humour_index=1.336)
    radius = 337.5 / 44
    back = radius * asked.eye.back_share
    eye = schematic.SchematicEye(
        (radius, back, 1 / float(lens.front_per_mm), 1 / float(lens.back_per_mm)),
        (1.376, 1.336, 1.47, 1.336),
        (0.54, 4.3 - 0.54, 0.9),
        2,
    )
    assert schematic.cardinal(eye).paraxial_length_mm == pytest.approx(23.7, abs=1e-6)


@pytest.mark.parametrize("target", [-3.0, 0.0, 1.0])
def test_power_and_refraction_are_inverse(read: Read, target: float) -> None:
    asked = subject(read, pupil_mm=3.0)
    power = asked.power_d(target_d=target, start_d=20.0)
    assert float(asked.refracted(power_d=power).spectacle.mean_d) == pytest.approx(target, abs=1e-9)


def test_a_lens_turned_round_acts_where_its_principal_planes_then_lie(read: Read) -> None:
    asked = subject(read, shape=1.0)
    lens = asked.make.lens(power_d=21.0, humour_index=1.336)
    back = -sum(float(v) for v in lens.principal_planes_mm(humour_index=1.336))
    turned = thick_power.cost(asked, power_d=21.0, place=CENTRED, reversed_there=True)
    moved = thick_power.cost(asked, power_d=21.0, place=Place(0.0, 0.0, back, 0.0, 0.0))
    assert back == pytest.approx(1.336 / 1.47 * 0.9, rel=1e-9)
    assert float(turned.change.mean_d) == pytest.approx(float(moved.change.mean_d), abs=1e-6)


@pytest.mark.parametrize("of", ["front", "centre", "principal"])
def test_a_site_puts_the_lens_where_it_says(read: Read, of: str) -> None:
    lens = shaped(power_d=20.0, index=1.47, humour_index=1.336, shape_factor=0.4, thickness_mm=0.9)
    front = float(Site(5.0, of).front_mm(lens, humour_index=1.336))
    planes = lens.principal_planes_mm(humour_index=1.336)
    middle = front + 0.5 * (float(planes[0]) + 0.9 + float(planes[1]))
    assert {"front": front, "centre": front + 0.45, "principal": middle}[of] == pytest.approx(5.0, abs=1e-12)


def test_no_power_for_an_impossible_target(read: Read) -> None:
    asked = subject(read, pupil_mm=5.9, site=Site(22.0, "front"))  # the beam does not fit through a lens so far back
    assert np.isnan(asked.power_d(target_d=-10.0, start_d=20.0))
