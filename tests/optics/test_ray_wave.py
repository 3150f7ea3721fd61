"""Refraction from rays: against textbook rules of thin lenses, against optiland's own rays, and in itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from forestay.calc.biometry import ROWS, schematic_eye
from forestay.evidence import default_evidence
from forestay.optics import ray_wave, schematic, thick_eye
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.ray_refraction import PowerVector, in_spectacles, of_sphere_cylinder
from forestay.optics.ray_surface import Floats, Train, conic, schematic_train, tip
from forestay.optics.ray_trace import directed, trace
from forestay.optics.thick_eye import CENTRED, Place, ThickEyeConstants, build
from forestay.optics.thick_lens import shaped
from forestay.optics.vergence import VergenceConstants
from tests.optics import reference_rays as reference

Read = Callable[[type[Any]], Any]


def thin_lens(power_d: float, *, n: float = 1.5, tilt_deg: float = 0.0, aside_mm: float = 0.0) -> Train:
    """An equally convex lens in air, thin, moved aside and tilted about its centre."""
    curvature = power_d / 1000 / (2 * (n - 1))
    front = conic(name="front", curvature_per_mm=curvature, asphericity=0, depth_mm=0.0, behind=n)
    back = conic(name="back", curvature_per_mm=-curvature, asphericity=0, depth_mm=1e-3, behind=1.0)
    turn = tip(tilt_deg=tilt_deg, toward_deg=270.0) if tilt_deg else None
    return Train((front, back), 1.0).moved(
        frozenset({"front", "back"}), shift_mm=(aside_mm, 0.0, 0.0), turn=turn, about_mm=(0, 0, 0)
    )


def focus(train: Train, *, fovea_mm: float, pupil_mm: float = 0.1) -> ray_wave.Focus:
    return ray_wave.least_blur(ray_wave.bundle(train, fovea_mm=(0.0, 0.0, fovea_mm), pupil_mm=pupil_mm))


# --------------------------------------------------------------------------------------- rules of the textbook


@pytest.mark.parametrize("n", [1.5, 1.7])
def test_a_tilted_thin_lens_follows_martins_rule(n: float) -> None:
    # a lens P tilted by t acts as P (1 + sin^2 t / 2n) with a cylinder P tan^2 t across the axis of the tilt, to fourth
    # order in t (Martin's formula, e.g. Keating, Geometric, Physical and Visual Optics); the retina here is at the focus
    power, tilt = 20.0, 3.0
    straight = focus(thin_lens(power, n=n), fovea_mm=1000 / power)
    tilted = focus(thin_lens(power, n=n, tilt_deg=tilt), fovea_mm=1000 / power)
    t = np.radians(tilt)
    sphere, cylinder = power * np.sin(t) ** 2 / (2 * n), power * np.tan(t) ** 2
    # the eye then needs that much less: tilted about the horizontal, the vertical meridian gains the cylinder
    assert float(tilted.mean_d + tilted.j0_d - straight.mean_d) == pytest.approx(-sphere, rel=0.01)
    assert float(2 * tilted.j0_d) == pytest.approx(cylinder, rel=0.01)
    assert float(tilted.j45_d) == pytest.approx(0, abs=1e-9)


def test_a_decentred_lens_follows_prentices_rule() -> None:
    # Prentice: prism dioptres = decentration in cm times dioptres; the eye looks the way the lens went
    found = focus(thin_lens(20.0, aside_mm=0.5), fovea_mm=50.0)
    assert float(100 * found.prism_x) == pytest.approx(0.05 * 20, rel=1e-3)
    assert float(found.prism_y) == pytest.approx(0, abs=1e-12)


def test_a_short_eye_is_hyperopic_by_the_vergence_that_lacks() -> None:
    found = focus(thin_lens(20.0), fovea_mm=45.0)
    assert float(found.mean_d) == pytest.approx(1000 / 45 - 20, abs=2e-3)


# --------------------------------------------------------------------------------------- Zernike and Seidel


def test_the_wavefront_of_a_known_surface_is_found_again() -> None:
    # slopes of a wavefront put together from Cartesian polynomials of the standard: Z(2,2) = sqrt 6 (x^2 - y^2),
    # Z(3,-1) = sqrt 8 (3 r^2 y - 2 y), Z(4,0) = sqrt 5 (6 r^4 - 6 r^2 + 1)
    x, y, weight = ray_wave.pupil_grid()
    radius = 2.0
    r2 = x * x + y * y
    a, b, c = 0.3, -0.2, 0.1
    dx = a * np.sqrt(6) * 2 * x + b * np.sqrt(8) * 6 * x * y + c * np.sqrt(5) * (24 * r2 - 12) * x
    dy = -a * np.sqrt(6) * 2 * y + b * np.sqrt(8) * (3 * r2 + 6 * y * y - 2) + c * np.sqrt(5) * (24 * r2 - 12) * y
    rays = ray_wave.Bundle(radius * x, radius * y, -dx / radius / 1000, -dy / radius / 1000, weight)
    found = ray_wave.wavefront(rays, pupil_mm=2 * radius)
    wanted = {(2, 2): a, (3, -1): b, (4, 0): c}
    for name, value in found.terms_um.items():
        assert float(value) == pytest.approx(wanted.get(name, 0.0), abs=1e-12), name
    assert float(found.focus()[1]) == pytest.approx(-2 * np.sqrt(6) * a / radius**2, abs=1e-12)


@pytest.mark.parametrize("name", ["le-grand", "navarro"])
def test_spherical_aberration_agrees_with_the_seidel_sum(name: str) -> None:
    # third order: c40 = W040 / (6 sqrt 5), W040 = S_I / 8 summed over surfaces by hand (Welford, ch. 8), light from afar
    given = schematic_eye(default_evidence()[ROWS[name]].value)  # type: ignore[index, arg-type]
    half = 0.3
    c40 = seidel_one(given, half) / 8 / (6 * np.sqrt(5)) * 1000
    rays = ray_wave.bundle(
        schematic_train(given), fovea_mm=(0, 0, schematic.cardinal(given).paraxial_length_mm), pupil_mm=2 * half
    )
    found = ray_wave.wavefront(rays, pupil_mm=2 * half)
    assert float(found.terms_um[4, 0]) == pytest.approx(c40, rel=0.01)


def seidel_one(eye: schematic.SchematicEye, half_mm: float) -> float:
    """S_I [mm] of a train of conics: -sum A^2 y D(u/n) + sum Q c^3 y^4 D(n)."""
    y, u, n, total = half_mm, 0.0, 1.0, 0.0
    quality = eye.asphericities or (0.0,) * len(eye.radii_mm)
    for i, (radius, q, behind) in enumerate(zip(eye.radii_mm, quality, eye.indices, strict=True)):
        a = n * (y / radius + u)
        after = (n * u - y * (behind - n) / radius) / behind
        total += -(a**2) * y * (after / behind - u / n) + q * y**4 / radius**3 * (behind - n)
        u, n = after, behind
        y += u * eye.gaps_mm[i] if i < len(eye.gaps_mm) else 0.0
    return total


def test_best_focus_moves_with_the_pupil_as_third_order_says() -> None:
    # W = W040 r^4: smallest spot, least squares of slope 4 W r^3 by F r over the disc: 8/3 W; by wavefront
    # (Zernike): 6 sqrt 5 c40 balanced: 2 W; margin 4 W; all in units of -2 / half^2, against near the axis
    given = schematic_eye(default_evidence()[ROWS["le-grand"]].value)  # type: ignore[arg-type]
    train, length = schematic_train(given), schematic.cardinal(given).paraxial_length_mm
    half = 0.25
    rays = ray_wave.bundle(train, fovea_mm=(0, 0, length), pupil_mm=2 * half)
    wave = ray_wave.wavefront(rays, pupil_mm=2 * half)
    w040 = 6 * np.sqrt(5) * float(wave.terms_um[4, 0])
    spot, disc = float(ray_wave.least_blur(rays).mean_d), float(wave.focus()[0])
    assert spot == pytest.approx(-8 / 3 * w040 / half**2, rel=0.01)
    assert disc == pytest.approx(-2 * w040 / half**2, rel=0.01)


# --------------------------------------------------------------------------------------- the eye with a lens, optiland


PLACES = {
    "centred": CENTRED,
    "forward": Place(0.0, 0.0, -0.5, 0.0, 0.0),
    "aside": Place(0.7, 300.0, 0.0, 0.0, 0.0),
    "tilted": Place(0.0, 0.0, 0.0, 12.0, 110.0),
    "both": Place(0.5, 200.0, 0.3, 8.0, 250.0),
}


def implanted(read: Read, place: Place, *, power_d: float = 21.0, pupil_mm: float = 3.0, astigmatism: float = 0.0):
    constants = read(ThickEyeConstants)
    cornea = thick_eye.cornea(
        k_mean_d=44.0,
        astigmatism=DoubleAngle(-astigmatism, 0.0),
        keratometric_index=1.3375,
        thickness_mm=0.54,
        constants=constants,
    )
    lens = shaped(power_d=power_d, index=1.47, humour_index=1.336, shape_factor=0.2, thickness_mm=0.9)
    return build(
        cornea=cornea,
        lens=lens,
        lens_front_mm=4.3,
        axial_length_mm=23.5,
        pupil_mm=pupil_mm,
        constants=constants,
        place=place,
    )


@pytest.mark.parametrize("name", PLACES)
def test_the_refraction_is_that_of_optilands_rays(read: Read, name: str) -> None:
    # each ray that is said to leave the eye is sent back into it in optiland, and must end in the fovea; numpy's own
    # least squares of those rays is the refraction
    eye = implanted(read, PLACES[name])
    ours = thick_eye.refraction(eye, constants=read(VergenceConstants))
    rays = ours.rays
    into = directed(at_mm=(rays.x_mm, rays.y_mm, 0.0), slope_x=-rays.slope_x, slope_y=-rays.slope_y)
    point, _ = reference.traced(reference.optic(eye.train, image_mm=float(eye.fovea_mm)), into)
    assert np.abs(point[:2]).max() < 1e-11
    x, y, both = rays.x_mm, rays.y_mm, np.tile(np.sqrt(rays.weight), 2)
    nil, one = np.zeros_like(x), np.ones_like(x)
    columns = np.concatenate([np.array([one, nil, x, x, y]), np.array([nil, one, y, -y, x])], axis=1)
    slopes = np.concatenate([rays.slope_x, rays.slope_y])
    found, *_ = np.linalg.lstsq((columns * both).T, slopes * both, rcond=None)
    seen = ours.focus
    fitted = [seen.prism_x, seen.prism_y, seen.mean_d / 1000, seen.j0_d / 1000, seen.j45_d / 1000]
    assert np.abs(np.array(fitted) - found).max() < 1e-13


def test_an_eye_at_the_refraction_found_is_sharp_forwards(read: Read) -> None:
    # the wave of the refraction found, sent in, meets in the fovea but for the coma of the displaced lens, which falls with
    # the square of the pupil; were any focus or cylinder left, the spot would fall with the pupil itself
    spots = []
    for pupil in (0.2, 0.1, 0.05):
        eye = implanted(read, PLACES["both"], pupil_mm=pupil, astigmatism=1.5)
        seen = thick_eye.refraction(eye, constants=read(VergenceConstants)).focus
        x, y = (0.5 * pupil * v for v in ray_wave.pupil_grid()[:2])
        m, j, k = float(seen.mean_d), float(seen.j0_d), float(seen.j45_d)
        u = -(float(seen.prism_x) + ((m + j) * x + k * y) / 1000)
        v = -(float(seen.prism_y) + (k * x + (m - j) * y) / 1000)
        out = trace(eye.train, directed(at_mm=(x, y, 0.0), slope_x=u, slope_y=v))
        spots.append(np.hypot(*out.on_plane(depth_mm=eye.fovea_mm)).max())
    assert np.log2(spots[0] / spots[1]) == pytest.approx(2, abs=0.05)
    assert np.log2(spots[1] / spots[2]) == pytest.approx(2, abs=0.05)
    assert spots[2] < 3e-6


# --------------------------------------------------------------------------------------- in itself


def test_draws_say_the_same_as_one_by_one(read: Read) -> None:
    constants, optics = read(ThickEyeConstants), read(VergenceConstants)

    def found(k: float | Floats) -> PowerVector:
        cornea = thick_eye.cornea(
            k_mean_d=k,
            astigmatism=DoubleAngle(-1.0, 0.5),
            keratometric_index=1.3375,
            thickness_mm=0.54,
            constants=constants,
        )
        lens = shaped(power_d=21.0, index=1.47, humour_index=1.336, shape_factor=0.0, thickness_mm=0.9)
        eye = build(
            cornea=cornea,
            lens=lens,
            lens_front_mm=4.3,
            axial_length_mm=23.5,
            pupil_mm=3.0,
            constants=constants,
            place=PLACES["both"],
        )
        return thick_eye.refraction(eye, constants=optics).spectacle

    k = np.array([42.0, 44.0, 46.5])
    many = found(k)
    assert np.shape(many.mean_d) == (3,)
    for i, one in enumerate(k):
        alone = found(float(one))
        for name in ("mean_d", "j0_d", "j45_d"):
            assert float(getattr(alone, name)) == pytest.approx(float(getattr(many, name)[i]), abs=1e-10)


def test_a_lens_farther_forward_makes_the_eye_myopic_and_more_so_the_stronger_it_is(read: Read) -> None:
    # evidence on lens power 4.2, thin lenses, K 44: 0.5 mm forward costs 0.30, 0.66 and 1.07 D at 10, 20 and 30 D, in
    # the eye in which the lens is right. Here the eye is made right by its length; thick lenses stay within 0.05 D.
    optics = read(VergenceConstants)
    for power, wanted in ((10.0, -0.30), (20.0, -0.66), (30.0, -1.07)):
        length = {10.0: 27.4, 20.0: 23.5, 30.0: 20.7}[power]
        change = []
        for back in (0.0, -0.5):
            eye = implanted(read, Place(0.0, 0.0, back, 0.0, 0.0), power_d=power, pupil_mm=0.2)
            eye = thick_eye.ThickEye(eye.train, length, 0.2)
            change.append(float(thick_eye.refraction(eye, constants=optics).spectacle.mean_d))
        assert change[1] - change[0] == pytest.approx(wanted, abs=0.05)


def test_the_plane_of_spectacles() -> None:
    # evidence on lens power 8.3, vertex 12 mm: +11.3636 at the cornea is +10 in spectacles, -8.9286 is -10
    optics = VergenceConstants(index=1.336, vertex_mm=12.0)
    found = in_spectacles(
        of_sphere_cylinder(
            sphere_d=11.363636363636363, cylinder_d=11.363636363636363 * 0 - 20.292207792207793, axis_deg=30.0
        ),
        constants=optics,
    )
    assert float(found.sphere_d) == pytest.approx(10.0)
    assert float(found.sphere_d + found.cylinder_d) == pytest.approx(-10.0)
    assert float(found.axis_deg) == pytest.approx(30.0)
