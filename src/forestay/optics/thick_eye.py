"""An eye with an implanted thick lens, for rays: cornea of two surfaces, lens of two, retina; and its refraction.

    corneal front   two readings (radii by the keratometric index) in their meridians, asphericity Q
    corneal back    measured, or as the front times a ratio, in the same meridians
    lens            front vertex behind the corneal front, shape of :mod:`forestay.optics.thick_lens`
    retina          axial length plus the thickness from the inner limiting membrane to the receptors

The refraction is that of rays sent out from the fovea through an entrance pupil (:mod:`forestay.optics.ray_wave`), at
the cornea and, by each principal meridian, at the spectacle plane. A displaced lens is moved and turned as a rigid body
about its centre; the fovea and the pupil stay on the axis of the cornea. Monochromatic; all places of the pupil count
alike. Range: eyes whose retina lies behind the lens and whose rays get out; NaN elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from forestay.optics import ray_wave
from forestay.optics.angles import cos_sin_deg
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.ray_refraction import PowerVector, in_spectacles
from forestay.optics.ray_surface import Surface, Train, conic, spin, tip
from forestay.optics.ray_wave import Bundle, Focus
from forestay.optics.thick_lens import ThickLens
from forestay.optics.values import Number
from forestay.optics.vergence import VergenceConstants

FRONT, BACK = "lens front", "lens back"
BODY = frozenset({FRONT, BACK})


@dataclass(frozen=True, slots=True)
class ThickEyeConstants:
    """Cornea and retina that are not measured one by one: indices, asphericities, back radius as a share of the front,
    retinal thickness [mm]; and how far the centre of an implanted lens lies inside the natural one, as a share."""

    PREFIX: ClassVar[str] = "thick_eye"
    corneal_index: float
    humour_index: float
    front_asphericity: float
    back_asphericity: float
    back_share: float
    retina_mm: float
    lens_centre_share: float


@dataclass(frozen=True, slots=True)
class Cornea:
    """Both surfaces: mean curvature [1/mm], half the difference of the principal ones along the steep meridian
    [degrees], asphericity; thickness [mm]."""

    front_per_mm: Number
    front_half_per_mm: Number
    front_steep_deg: Number
    back_per_mm: Number
    back_half_per_mm: Number
    back_steep_deg: Number
    front_asphericity: float
    back_asphericity: float
    thickness_mm: Number

    def surfaces(self, *, constants: ThickEyeConstants) -> tuple[Surface, Surface]:
        """Front and back, with the media behind them."""
        front = _astigmatic(
            conic(
                name="corneal front",
                curvature_per_mm=self.front_per_mm,
                asphericity=self.front_asphericity,
                depth_mm=0.0,
                behind=constants.corneal_index,
            ),
            self.front_half_per_mm,
            self.front_steep_deg,
        )
        back = _astigmatic(
            conic(
                name="corneal back",
                curvature_per_mm=self.back_per_mm,
                asphericity=self.back_asphericity,
                depth_mm=self.thickness_mm,
                behind=constants.humour_index,
            ),
            self.back_half_per_mm,
            self.back_steep_deg,
        )
        return front, back


def _astigmatic(surface: Surface, half_per_mm: Number, steep_deg: Number) -> Surface:
    if np.ndim(half_per_mm) == 0 and float(half_per_mm) == 0:
        return surface
    return replace(
        surface,
        curvature_x_per_mm=surface.curvature_x_per_mm + half_per_mm,
        curvature_y_per_mm=surface.curvature_y_per_mm - half_per_mm,
        turn=spin(meridian_deg=steep_deg),
    )


def cornea(
    *,
    k_mean_d: Number,
    astigmatism: DoubleAngle,
    keratometric_index: float,
    thickness_mm: Number,
    constants: ThickEyeConstants,
    back_radius_mm: Number | None = None,
) -> Cornea:
    """The cornea of two readings (mean [D] and vector [D] under ``keratometric_index``) and a thickness [mm].

    ``back_radius_mm`` is the mean radius of the back where it was measured; without it the back is the front times
    :attr:`ThickEyeConstants.back_share`. Either way the back is astigmatic in the proportion of the front.
    """
    step = 1000 * (keratometric_index - 1)
    mean, half = k_mean_d / step, 0.5 * astigmatism.magnitude_d / step
    back = mean / constants.back_share if back_radius_mm is None else 1 / back_radius_mm
    return Cornea(
        front_per_mm=mean,
        front_half_per_mm=half,
        front_steep_deg=astigmatism.axis_deg,
        back_per_mm=back,
        back_half_per_mm=half * back / mean,
        back_steep_deg=astigmatism.axis_deg,
        front_asphericity=constants.front_asphericity,
        back_asphericity=constants.back_asphericity,
        thickness_mm=thickness_mm,
    )


@dataclass(frozen=True, slots=True)
class Place:
    """Where a lens lies against its centred place: aside [mm] towards a direction [degrees from the examiner's right],
    back [mm, forward negative], and tilted [degrees] with the edge in a direction gone back."""

    aside_mm: Number
    aside_deg: Number
    back_mm: Number
    tilt_deg: Number
    tilt_toward_deg: Number


CENTRED = Place(0.0, 0.0, 0.0, 0.0, 0.0)
"""A lens on the axis, square to it, where it was meant to be."""


@dataclass(frozen=True, slots=True)
class ThickEye:
    """An eye with a thick lens in place, ready for rays. ``fovea_mm`` is the depth of the receptors."""

    train: Train
    fovea_mm: Number
    pupil_mm: Number

    def rays(self) -> Bundle:
        """Rays out of the eye through its pupil."""
        return ray_wave.bundle(self.train, fovea_mm=(0.0, 0.0, self.fovea_mm), pupil_mm=self.pupil_mm)


@dataclass(frozen=True, slots=True)
class Refracted:
    """Refraction in spectacles at best focus [D], the focus at the cornea, and the rays that gave it."""

    spectacle: PowerVector
    focus: Focus
    rays: Bundle


def build(
    *,
    cornea: Cornea,
    lens: ThickLens,
    lens_front_mm: Number,
    axial_length_mm: Number,
    pupil_mm: Number,
    constants: ThickEyeConstants,
    place: Place = CENTRED,
    optic_radius_mm: float | None = None,
) -> ThickEye:
    """The eye: lens with its front vertex ``lens_front_mm`` [mm] behind the cornea, then put where ``place`` says."""
    front = conic(
        name=FRONT,
        curvature_per_mm=lens.front_per_mm,
        asphericity=lens.front_asphericity,
        depth_mm=lens_front_mm,
        behind=lens.index,
        clear_radius_mm=optic_radius_mm,
    )
    back = conic(
        name=BACK,
        curvature_per_mm=lens.back_per_mm,
        asphericity=lens.back_asphericity,
        depth_mm=lens_front_mm + lens.thickness_mm,
        behind=constants.humour_index,
        clear_radius_mm=optic_radius_mm,
    )
    train = Train((*cornea.surfaces(constants=constants), front, back), 1.0)
    if place is not CENTRED:
        across, along = cos_sin_deg(place.aside_deg)
        level = np.ndim(place.tilt_deg) == 0 and float(place.tilt_deg) == 0
        train = train.moved(
            BODY,
            shift_mm=(place.aside_mm * across, place.aside_mm * along, place.back_mm),
            turn=None if level else tip(tilt_deg=place.tilt_deg, toward_deg=place.tilt_toward_deg),
            about_mm=(0.0, 0.0, lens_front_mm + 0.5 * lens.thickness_mm),
        )
    return ThickEye(train, axial_length_mm + constants.retina_mm, pupil_mm)


def refraction(eye: ThickEye, *, constants: VergenceConstants) -> Refracted:
    """Spectacles for the smallest spot over the pupil."""
    rays = eye.rays()
    focus = ray_wave.least_blur(rays)
    at_cornea = PowerVector(focus.mean_d, focus.j0_d, focus.j45_d)
    return Refracted(in_spectacles(at_cornea, constants=constants), focus, rays)
