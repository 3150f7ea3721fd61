"""Where an implanted thick lens lies, which power it needs for a target, and what its displacement costs.

Power is found by the secant method on the traced refraction, which falls steadily with power. The cost of a place is
the refraction there less that of the centred lens, as a power vector in spectacles, and the prism: where the fovea
looks then, against where it looked before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from forestay.optics.ray_refraction import PowerVector
from forestay.optics.thick_eye import CENTRED, Cornea, Place, Refracted, ThickEye, ThickEyeConstants, build, refraction
from forestay.optics.thick_lens import LensShapeConstants, ThickLens, shaped, usual_thickness_mm
from forestay.optics.values import Number
from forestay.optics.vergence import VergenceConstants

SECANT_STEPS = 25
"""Steps at most; a handful are needed."""
SECANT_TOLERANCE = 1e-10
"""Refraction [D] at which the power counts as found."""


@dataclass(frozen=True, slots=True)
class Make:
    """What is known of a lens beside its power: index, Coddington factor, asphericities, thickness [mm] or None for
    the usual one, optic [mm]; and whether it is put in back to front."""

    index: float
    shape_factor: float
    front_asphericity: float
    back_asphericity: float
    thickness_mm: float | None
    optic: LensShapeConstants
    reversed: bool = False

    def lens(self, *, power_d: Number, humour_index: float) -> ThickLens:
        """The lens of that power [D]."""
        thickness: Number | None = self.thickness_mm
        if thickness is None:
            thickness = usual_thickness_mm(
                power_d=power_d,
                index=self.index,
                humour_index=humour_index,
                shape_factor=self.shape_factor,
                constants=self.optic,
            )
        made = shaped(
            power_d=power_d,
            index=self.index,
            humour_index=humour_index,
            shape_factor=self.shape_factor,
            thickness_mm=thickness,
            front_asphericity=self.front_asphericity,
            back_asphericity=self.back_asphericity,
        )
        return made.reversed() if self.reversed else made


@dataclass(frozen=True, slots=True)
class Site:
    """Where the centred lens lies: its centre or its front at a depth [mm], or as a thin lens of a formula, whose
    distance [mm] is taken for the middle between the principal planes."""

    depth_mm: Number
    of: str
    """``centre``, ``front`` or ``principal``."""

    def front_mm(self, lens: ThickLens, *, humour_index: float) -> Number:
        """Depth of the front vertex [mm]."""
        if self.of == "front":
            return self.depth_mm
        half = 0.5 * lens.thickness_mm
        if self.of == "centre":
            return self.depth_mm - half
        front, back = lens.principal_planes_mm(humour_index=humour_index)
        return self.depth_mm - 0.5 * (front + lens.thickness_mm + back)


@dataclass(frozen=True, slots=True)
class Subject:
    """An eye whose lens is still open: cornea, length and pupil [mm], make and site of the lens."""

    cornea: Cornea
    axial_length_mm: Number
    pupil_mm: Number
    make: Make
    site: Site
    eye: ThickEyeConstants
    vergence: VergenceConstants

    def with_lens(self, *, power_d: Number, place: Place = CENTRED) -> ThickEye:
        """The eye with a lens of that power [D], in its place."""
        lens = self.make.lens(power_d=power_d, humour_index=self.eye.humour_index)
        return build(
            cornea=self.cornea,
            lens=lens,
            lens_front_mm=self.site.front_mm(lens, humour_index=self.eye.humour_index),
            axial_length_mm=self.axial_length_mm,
            pupil_mm=self.pupil_mm,
            constants=self.eye,
            place=place,
            optic_radius_mm=0.5 * self.make.optic.optic_diameter_mm,
        )

    def refracted(self, *, power_d: Number, place: Place = CENTRED) -> Refracted:
        """Refraction with that lens in that place."""
        return refraction(self.with_lens(power_d=power_d, place=place), constants=self.vergence)

    def narrow(self, pupil_mm: float) -> Subject:
        """The same eye with another pupil [mm]."""
        return replace(self, pupil_mm=pupil_mm)

    def power_d(self, *, target_d: float, start_d: float) -> float:
        """Power [D] whose mean spectacle refraction is the target [D]; NaN where there is none."""
        return _secant(lambda p: float(self.refracted(power_d=p).spectacle.mean_d) - target_d, start_d)


def _secant(miss: Callable[[float], float], start: float) -> float:
    before, now = start, start + 1
    last, here = miss(before), miss(now)
    for _ in range(SECANT_STEPS):
        if not np.isfinite(here) or here == last:
            return float("nan")
        before, now, last = now, now - here * (now - before) / (here - last), here
        here = miss(now)
        if abs(here) <= SECANT_TOLERANCE:
            return now
    return float("nan")


@dataclass(frozen=True, slots=True)
class Cost:
    """What a place of the lens costs: refraction before and after, their difference [D in spectacles], prism.

    The prism is a slope (x to the examiner's right, y up): the direction to which the fovea looks, against before.
    ``blur`` and ``blur_before`` are what spectacles leave, in radians.
    """

    before: PowerVector
    after: PowerVector
    change: PowerVector
    prism_x: Number
    prism_y: Number
    blur: Number
    blur_before: Number


def cost(subject: Subject, *, power_d: Number, place: Place, reversed_there: bool = False) -> Cost:
    """The same lens centred and in its place, there perhaps back to front; its front vertex is where it was."""
    lens = subject.make.lens(power_d=power_d, humour_index=subject.eye.humour_index)
    front = subject.site.front_mm(lens, humour_index=subject.eye.humour_index)
    held = replace(subject, site=Site(front, "front"))
    there = replace(held, make=replace(held.make, reversed=not held.make.reversed)) if reversed_there else held
    before = held.refracted(power_d=power_d)
    after = there.refracted(power_d=power_d, place=place)
    return Cost(
        before=before.spectacle,
        after=after.spectacle,
        change=after.spectacle - before.spectacle,
        prism_x=after.focus.prism_x - before.focus.prism_x,
        prism_y=after.focus.prism_y - before.focus.prism_y,
        blur=after.focus.blur,
        blur_before=before.focus.blur,
    )
