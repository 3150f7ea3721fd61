"""What the calculations with rays share: eye, cornea and lens as they are given, and the engine's eye made of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.errors import InvalidInput, MissingInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.cornea import KeratometryConstants
from forestay.optics.thick_eye import ThickEyeConstants, cornea
from forestay.optics.thick_lens import LensShapeConstants, ThickLens, edge_mm
from forestay.optics.thick_power import Make, Site, Subject
from forestay.optics.vergence import VergenceConstants
from forestay.record import Record
from forestay.text import tr

Material = Literal["acrylic", "hydrophilic-acrylic", "silicone", "pmma"]
UM_PER_MM = 1000.0


class ShapeInput(Record):
    """What is known of a lens beside its power."""

    material: Annotated[Material | None, Field(description="material of the lens; absent, with no index: acrylic")] = (
        None
    )
    lens_index: Annotated[float, within("lens_index")] | None = None
    shape_factor: Annotated[float, within("shape_factor")] | None = None
    centre_thickness_mm: Annotated[float, within("centre_thickness_mm")] | None = None
    front_asphericity: Annotated[float, within("asphericity")] = 0.0
    back_asphericity: Annotated[float, within("asphericity")] = 0.0


class ThickEyeInput(ShapeInput):
    """The eye, and where its lens is to lie: its front, or a formula's distance, or by chamber and natural lens."""

    axial_length_mm: Annotated[float, within("axial_length_mm")]
    k1_d: Annotated[float, within("k1_d")]
    k2_d: Annotated[float, within("k2_d")]
    lens_front_mm: Annotated[float, within("lens_front_mm")] | None = None
    lens_distance_mm: Annotated[float, within("lens_distance_mm")] | None = None
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None
    corneal_thickness_um: Annotated[float, within("corneal_thickness_um")] | None = None
    back_radius_mm: Annotated[float, within("back_radius_mm")] | None = None
    pupil_mm: Annotated[float, within("pupil_mm")] | None = None


@dataclass(frozen=True)
class ReadySubject:
    """The engine's eye, and what had to be taken for it."""

    subject: Subject
    doubts: tuple[Doubt, ...]


def make_of(given: ShapeInput, use: Reader) -> tuple[Make, list[Doubt]]:
    """Index and shape as given, or the usual ones, each with its doubt."""
    doubts: list[Doubt] = []
    index = given.lens_index
    if index is None:
        name = given.material or "acrylic"
        index = float(use.table("lens_shape.index")[name])
        if given.material is None:
            says = tr("Neither material nor index of the lens was given: index {index:g}.", index=index)
            doubts.append(Doubt("lens-index-assumed", says))
    elif given.material is not None:
        raise InvalidInput(
            tr("material and lens_index say the same thing; give one of them."), field="lens_index", value=index
        )
    shape = given.shape_factor
    if shape is None:
        shape = use.number("lens_shape.usual_factor")
    make = Make(
        index=index,
        shape_factor=shape,
        front_asphericity=given.front_asphericity,
        back_asphericity=given.back_asphericity,
        thickness_mm=given.centre_thickness_mm,
        optic=_optic(given, use),
    )
    return make, doubts


def _optic(given: ShapeInput, use: Reader) -> LensShapeConstants:
    """Diameter and edge of the optic; the edge is read only where the thickness rests on it."""
    if given.centre_thickness_mm is None:
        return use.constants(LensShapeConstants)
    return LensShapeConstants(use.number("lens_shape.optic_diameter_mm"), 0.0)


def subject_of(given: ThickEyeInput, astigmatism: DoubleAngle | None, use: Reader) -> ReadySubject:
    """The engine's eye. ``astigmatism`` is the vector of the readings, None where only their mean counts."""
    eye = use.constants(ThickEyeConstants)
    make, doubts = make_of(given, use)
    thickness = given.corneal_thickness_um
    if thickness is None:
        thickness = use.number("thick_eye.corneal_thickness_um")
    pupil = given.pupil_mm
    if pupil is None:
        pupil = use.number("lens_shift.usual_pupil_mm")
    if pupil > make.optic.optic_diameter_mm:
        raise InvalidInput(
            tr("The pupil is wider than the optic of the lens."),
            field="pupil_mm",
            value=pupil,
            allowed=tr("up to {mm:g} mm", mm=make.optic.optic_diameter_mm),
        )
    if given.back_radius_mm is None:
        says = tr("The back of the cornea was not measured: its radius was taken as a share of that of the front.")
        doubts.append(Doubt("corneal-back-assumed", says))
    front = cornea(
        k_mean_d=0.5 * (given.k1_d + given.k2_d),
        astigmatism=astigmatism or DoubleAngle(0.0, 0.0),
        keratometric_index=use.constants(KeratometryConstants).index,
        thickness_mm=thickness / UM_PER_MM,
        constants=eye,
        back_radius_mm=given.back_radius_mm,
    )
    subject = Subject(
        cornea=front,
        axial_length_mm=given.axial_length_mm,
        pupil_mm=pupil,
        make=make,
        site=_site(given, eye),
        eye=eye,
        vergence=use.constants(VergenceConstants),
    )
    return ReadySubject(subject, tuple(doubts))


def _site(given: ThickEyeInput, eye: ThickEyeConstants) -> Site:
    if given.lens_front_mm is not None and given.lens_distance_mm is not None:
        raise InvalidInput(
            tr("lens_front_mm and lens_distance_mm both say where the lens lies; give one of them."),
            field="lens_distance_mm",
            value=given.lens_distance_mm,
        )
    if given.lens_front_mm is not None:
        return Site(given.lens_front_mm, "front")
    if given.lens_distance_mm is not None:
        return Site(given.lens_distance_mm, "principal")
    for name in ("chamber_depth_mm", "lens_thickness_mm"):
        if getattr(given, name) is None:
            raise MissingInput(
                tr(
                    "{name} is missing; without lens_front_mm or lens_distance_mm it says where the lens will lie.",
                    name=name,
                ),
                field=name,
            )
    depth = (given.chamber_depth_mm or 0.0) + eye.lens_centre_share * (given.lens_thickness_mm or 0.0)
    return Site(depth, "centre")


def real(make: Make, *, power_d: float, humour_index: float) -> ThickLens:
    """The lens of that power; refused where none has this shape, or its surfaces meet before the rim of the optic."""
    lens = make.lens(power_d=power_d, humour_index=humour_index)
    if not np.isfinite(lens.front_per_mm):
        raise InvalidInput(
            tr("There is no lens of this power, index, shape factor and thickness."),
            field="shape_factor",
            value=make.shape_factor,
            allowed=tr("a shape factor nearer to 0"),
        )
    edge = float(edge_mm(lens, optic_diameter_mm=make.optic.optic_diameter_mm))
    if edge < 0 and make.thickness_mm is not None:
        raise InvalidInput(
            tr(
                "A lens of {power:g} D is too thin with {thickness:g} mm: its surfaces meet before the rim of an optic of"
                " {optic:g} mm.",
                power=power_d,
                thickness=make.thickness_mm,
                optic=make.optic.optic_diameter_mm,
            ),
            field="centre_thickness_mm",
            value=make.thickness_mm,
            allowed=tr("at least {mm:.2f} mm", mm=float(np.ceil(100 * (make.thickness_mm - edge)) / 100)),
        )
    return lens


def inside(subject: Subject, *, power_d: float) -> None:
    """Refuse a lens that would touch the cornea or lie behind the retina."""
    lens = real(subject.make, power_d=power_d, humour_index=subject.eye.humour_index)
    front = float(subject.site.front_mm(lens, humour_index=subject.eye.humour_index))
    back = front + float(lens.thickness_mm)
    if not float(subject.cornea.thickness_mm) < front or not back < float(subject.axial_length_mm):
        raise InvalidInput(
            tr("The lens would lie from {front:.2f} to {back:.2f} mm, not inside this eye.", front=front, back=back),
            field="lens_front_mm",
            value=front,
            allowed=tr("a place between cornea and retina"),
        )
