"""ray-trace, lens-shape, thick-lens-power, lens-shift: answers, doubts, mirror, errors."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from forestay.calc.lens_shift import lens_shift_calculation
from forestay.calc.ray import CALCULATIONS, lens_shape_calculation, ray_trace_calculation
from forestay.calc.thick_lens import thick_lens_power_calculation
from forestay.errors import InvalidInput, MissingInput
from forestay.evidence import default_evidence
from forestay.frame import mirror_axis, mirror_hour

EYE: dict[str, Any] = {
    "axial_length_mm": 23.5,
    "k1_d": 43.5,
    "k2_d": 44.5,
    "material": "acrylic",
    "pupil_mm": 3,
}
STEEP = {
    "radii_mm": [2.0, 2.5, 10.2, -6.0],
    "indices": [1.3771, 1.3374, 1.42, 1.336],
    "gaps_mm": [0.55, 3.05, 4.0],
    "corneal_surfaces": 2,
}
"""An eye that nobody has."""
SHIFT: dict[str, Any] = {**EYE, "lens_front_mm": 4.3, "power_d": 21}


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


@pytest.mark.parametrize("row", CALCULATIONS, ids=lambda row: row.name)
def test_the_example_answers_in_plain_json(row: Any) -> None:
    answer = row.run(row.example).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert answer["sources"]


# --------------------------------------------------------------------------------------- ray-trace


def test_navarros_eye_has_the_aberration_of_an_eye() -> None:
    # the model's purpose: spherical aberration near that measured, about 0.1 micrometre at 5 to 6 mm; the eyes of
    # spheres have several times as much
    navarro = ray_trace_calculation(eye="navarro", pupil_mm=6).result
    spheres = ray_trace_calculation(eye="le-grand", pupil_mm=6)
    assert navarro.spherical_aberration_um is not None
    assert spheres.result.spherical_aberration_um is not None
    assert 0.05 < navarro.spherical_aberration_um < 0.3
    assert spheres.result.spherical_aberration_um > 2 * navarro.spherical_aberration_um
    assert "spherical-surfaces" in codes(spheres)


def test_a_small_pupil_is_sharp_at_the_paraxial_length() -> None:
    result = ray_trace_calculation(eye="liou-brennan", pupil_mm=0.5).result
    assert result.best_refraction_d == pytest.approx(0, abs=0.01)
    assert result.paraxial_length_mm == pytest.approx(23.95, abs=0.001)
    assert not result.lost


def test_aberration_at_six_millimetres_is_that_of_the_published_gradient_eye() -> None:
    # Liou and Brennan fitted the spherical aberration of real eyes: about 0.1 micrometre over 6 mm in populations
    # (recalled: Thibos, Bradley, Hong, Optom Vis Sci 2002, Indiana survey)
    result = ray_trace_calculation(eye="liou-brennan", pupil_mm=6).result
    assert result.spherical_aberration_um == pytest.approx(0.1, abs=0.03)


def test_every_height_needs_more_minus_than_the_one_inside_it() -> None:
    fan = ray_trace_calculation(eye="navarro", pupil_mm=8).result.fan
    needs = [ray.refraction_d for ray in fan]
    focus = [ray.focus_mm for ray in fan]
    assert needs == sorted(needs, reverse=True)  # type: ignore[type-var]
    assert focus == sorted(focus, reverse=True)  # type: ignore[type-var]


def test_rays_that_do_not_get_through_are_told_one_by_one() -> None:
    # a cornea of 2 mm radius has no surface beyond 2 mm from the axis
    steep = default_evidence().with_values({"schematic_eye.le_grand": STEEP})
    answer = ray_trace_calculation.run({"eye": "le-grand", "pupil_mm": 8}, steep)
    lost = {row.height_mm: row for row in answer.result.lost}
    assert set(lost) == {3.0, 4.0}
    assert lost[3.0].surface == "surface 1"
    assert lost[3.0].at_mm[:2] == (3.0, 0.0)
    assert answer.result.best_refraction_d is None
    assert "rays-lost" in codes(answer)


# --------------------------------------------------------------------------------------- lens-shape


def test_the_worked_symmetric_lens() -> None:
    # evidence on lens power 8.3: index 1.47, 22 D, 0.8 mm: radius 12.145 mm, surface 11.033 D, plane 0.3646 mm
    found = lens_shape_calculation(power_d=22, lens_index=1.47, shape_factor=0, centre_thickness_mm=0.8).result
    assert found.front_radius_mm == pytest.approx(12.145, abs=5e-4)
    assert found.front_power_d == pytest.approx(11.033, abs=5e-4)
    assert found.front_principal_mm == pytest.approx(0.3646, abs=5e-5)


def test_a_lens_flat_behind_has_no_back_radius_and_its_plane_at_the_front() -> None:
    found = lens_shape_calculation(power_d=20, lens_index=1.49, shape_factor=1, centre_thickness_mm=0.9).result
    assert found.back_radius_mm is None
    assert found.front_principal_mm == pytest.approx(0, abs=1e-12)  # all power in front: textbook
    assert found.front_power_d == pytest.approx(20)
    assert found.shift_when_reversed_mm == pytest.approx(1.336 / 1.49 * 0.9, rel=1e-9)


def test_a_lens_too_thin_for_its_power_is_refused_with_the_thickness_that_it_needs() -> None:
    # radius 12.145 mm, optic of 6 mm: each sag 12.145 - sqrt(12.145^2 - 9) = 0.3764 mm, so at least 0.753 mm
    asked = {"power_d": 22, "lens_index": 1.47, "shape_factor": 0}
    assert lens_shape_calculation(**asked, centre_thickness_mm=0.8).result.edge_mm == pytest.approx(0.0472, abs=5e-4)
    with pytest.raises(InvalidInput, match=r"meet before the rim") as caught:
        lens_shape_calculation(**asked, centre_thickness_mm=0.5)
    assert caught.value.field == "centre_thickness_mm"
    assert caught.value.allowed == "at least 0.76 mm"  # a thinner lens of this power is a little more curved
    with pytest.raises(InvalidInput):
        lens_shift_calculation(**SHIFT, centre_thickness_mm=0.3)


# --------------------------------------------------------------------------------------- thick-lens-power


def test_rays_and_formulas_are_close_in_an_average_eye_and_the_difference_is_said() -> None:
    answer = thick_lens_power_calculation(
        **EYE, chamber_depth_mm=3.1, lens_thickness_mm=4.5, target_d=0, constant={"a": 118.4}
    )
    found = answer.result
    srk = next(row for row in found.formulas if row.formula == "SRK/T")
    # evidence on lens power 8.1: SRK/T 20.041 D here
    assert srk.power_d == pytest.approx(20.041, abs=0.005)
    assert abs(srk.difference_d) < 1
    assert srk.difference_d == pytest.approx(srk.power_d - found.power_d)
    assert found.model_spread_d is not None
    assert found.model_spread_d >= abs(srk.difference_d)
    assert "model-uncertainty" in codes(answer)


def test_the_power_found_gives_the_target() -> None:
    found = thick_lens_power_calculation(**EYE, lens_front_mm=4.3, target_d=-0.75).result
    seen = lens_shift_calculation(**{**SHIFT, "power_d": found.power_d}).result
    assert seen.before is not None
    assert seen.before.mean_d == pytest.approx(-0.75, abs=1e-8)


def test_power_falls_with_length_and_cornea_and_rises_with_depth() -> None:
    def power(**more: Any) -> float:
        return thick_lens_power_calculation(**{**EYE, "lens_front_mm": 4.3, "target_d": 0, **more}).result.power_d

    assert power(axial_length_mm=24) < power() < power(axial_length_mm=23)
    assert power(k2_d=45.5) < power()
    assert power(lens_front_mm=4.0) < power() < power(lens_front_mm=4.6)


def test_a_wider_pupil_asks_for_less_power_since_its_edge_is_too_strong() -> None:
    narrow = thick_lens_power_calculation(**{**EYE, "pupil_mm": 2}, lens_front_mm=4.3, target_d=0).result
    wide = thick_lens_power_calculation(**{**EYE, "pupil_mm": 5}, lens_front_mm=4.3, target_d=0).result
    assert wide.power_d < narrow.power_d < narrow.paraxial_power_d
    assert wide.paraxial_power_d == pytest.approx(narrow.paraxial_power_d, abs=1e-6)


# --------------------------------------------------------------------------------------- lens-shift


ASTIGMATIC = {"k1_axis_deg": 100, "k2_axis_deg": 10}
OFF = {"displacement_mm": 0.6, "displacement_clock": 4.5, "tilt_deg": 7, "tilt_clock": 8}


def test_a_centred_lens_costs_nothing() -> None:
    found = lens_shift_calculation(**SHIFT, **ASTIGMATIC).result
    assert found.change is not None
    assert found.change.mean_d == found.change.cylinder_d == found.prism_d == 0
    assert found.prism_clock is None


def test_mirrored_eyes_give_the_same_numbers_exactly() -> None:
    one = lens_shift_calculation(**SHIFT, **ASTIGMATIC, **OFF).result
    two = lens_shift_calculation(
        **SHIFT,
        k1_axis_deg=80,
        k2_axis_deg=170,
        displacement_mm=0.6,
        displacement_clock=7.5,
        tilt_deg=7,
        tilt_clock=4,
    ).result
    for a, b in ((one.before, two.before), (one.after, two.after), (one.change, two.change)):
        assert a is not None
        assert b is not None
        assert (a.mean_d, a.cylinder_d, a.j0_d, a.j45_d) == (b.mean_d, b.cylinder_d, b.j0_d, -b.j45_d)
        assert b.axis_deg == mirror_axis(a.axis_deg)
    assert one.prism_d == two.prism_d
    assert one.prism_clock is not None
    assert two.prism_clock == mirror_hour(one.prism_clock)


def test_turning_everything_turns_the_answer() -> None:
    # 4 hours are 120 degrees; the pupil's rays stand every 30, so the turned eye is the same problem
    one = lens_shift_calculation(**SHIFT, displacement_mm=0.6, displacement_clock=2, tilt_deg=7, tilt_clock=11).result
    two = lens_shift_calculation(**SHIFT, displacement_mm=0.6, displacement_clock=6, tilt_deg=7, tilt_clock=3).result
    assert one.change is not None
    assert two.change is not None
    assert two.change.cylinder_d == pytest.approx(one.change.cylinder_d, abs=1e-10)
    assert (one.change.axis_deg - 120 - two.change.axis_deg) % 180 == pytest.approx(0, abs=1e-6)
    assert one.prism_clock is not None
    assert two.prism_clock == pytest.approx(one.prism_clock + 4 if one.prism_clock < 8 else one.prism_clock - 8)


def test_the_cost_grows_with_displacement_and_with_tilt() -> None:
    def cylinder(**more: Any) -> float:
        change = lens_shift_calculation(**SHIFT, **more).result.change
        assert change is not None
        return change.cylinder_d

    tilts = [cylinder(tilt_deg=t, tilt_clock=12) for t in (0, 3, 6, 12, 20)]
    assert tilts == sorted(tilts, reverse=True)
    moved = [cylinder(displacement_mm=d, displacement_clock=6) for d in (0, 0.3, 0.6, 1.2)]
    assert moved == sorted(moved, reverse=True)
    # tilt alone: P tan^2 t would be 0.93 D in the plane of the lens at 12 degrees; in spectacles less
    assert -1.0 < tilts[3] < -0.4


def test_a_lens_forward_makes_myopic_and_a_flat_back_turned_to_the_front_hyperopic() -> None:
    forward = lens_shift_calculation(**SHIFT, axial_shift_mm=-0.5).result.change
    assert forward is not None
    assert forward.mean_d == pytest.approx(-0.70, abs=0.05)  # 21 D: evidence on lens power 4.2, 20 D -0.66, 25 D -0.86
    turned = lens_shift_calculation(**SHIFT, shape_factor=1, centre_thickness_mm=0.9, reversed=True).result.change
    assert turned is not None
    assert turned.mean_d > 0.5  # its principal planes go back by 0.8 mm


def test_the_edge_of_the_lens_in_the_pupil_is_a_doubt_and_no_number() -> None:
    answer = lens_shift_calculation(**{**SHIFT, "pupil_mm": 5}, displacement_mm=2, displacement_clock=6)
    assert answer.result.after is None
    assert answer.result.before is not None
    assert "edge-in-the-pupil" in codes(answer)


def test_what_was_taken_is_said() -> None:
    answer = lens_shift_calculation(**SHIFT, displacement_mm=0.5, displacement_clock=6, tilt_deg=5)
    assert {"tilt-clock-assumed", "corneal-astigmatism-not-counted", "corneal-back-assumed"} <= codes(answer)
    given = {k: v for k, v in SHIFT.items() if k not in ("material", "pupil_mm")}
    assert {"lens-index-assumed", "assumed"} <= codes(lens_shift_calculation(**given))


@pytest.mark.parametrize(
    ("wrong", "field", "kind"),
    [
        ({"displacement_mm": 0.5}, "displacement_clock", MissingInput),
        ({"tilt_deg": 5}, "tilt_clock", MissingInput),
        ({"k1_axis_deg": 90}, "k2_axis_deg", MissingInput),
        ({"k2_axis_deg": 90}, "k1_axis_deg", MissingInput),
        ({"lens_front_mm": None}, "chamber_depth_mm", MissingInput),
        ({"lens_front_mm": None, "chamber_depth_mm": 3.0}, "lens_thickness_mm", MissingInput),
        ({"lens_distance_mm": 5.0}, "lens_distance_mm", InvalidInput),
        ({"lens_index": 1.5}, "lens_index", InvalidInput),
        ({"pupil_mm": 7}, "pupil_mm", InvalidInput),
        ({"tilt_deg": 60, "tilt_clock": 3}, "tilt_deg", InvalidInput),
        ({"displacement_mm": -0.1}, "displacement_mm", InvalidInput),
        ({"lens_front_mm": 0.51}, "lens_front_mm", InvalidInput),
    ],
)
def test_bad_input_names_the_field(wrong: dict[str, Any], field: str, kind: type[Exception]) -> None:
    with pytest.raises(kind) as caught:
        lens_shift_calculation(**{**SHIFT, **wrong})
    assert caught.value.field == field  # type: ignore[attr-defined]


def test_a_formulas_distance_is_the_middle_of_the_principal_planes() -> None:
    found = thick_lens_power_calculation(**EYE, lens_distance_mm=5.0, target_d=0).result
    assert found.principal_distance_mm == pytest.approx(5.0, abs=1e-9)
    assert np.isfinite(found.power_d)
