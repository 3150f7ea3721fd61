"""Calculations with exact rays: a schematic eye through a finite pupil, and the shape of a lens; joins the family."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.biometry import ROWS, EyeName, schematic_eye
from forestay.calc.core import calculation
from forestay.calc.lens_shift import lens_shift_calculation
from forestay.calc.ray_input import ShapeInput, make_of, real
from forestay.calc.thick_lens import thick_lens_power_calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics import ray_trace, ray_wave, schematic
from forestay.optics.ray_surface import Train, schematic_train
from forestay.optics.ray_trace import Rays, directed
from forestay.optics.thick_lens import edge_mm
from forestay.record import Record
from forestay.text import tr

FAN = (0.25, 0.5, 0.75, 1.0)
"""Heights of the rays that are told one by one, as shares of the radius of the pupil."""
BEFORE_MM = 1.0
"""Where rays start, in front of the cornea; they are parallel, so that it does not matter."""
ARCMIN = float(60 * np.degrees(1.0))


class RayTraceInput(Record):
    """Which eye, and how wide its pupil is."""

    eye: Annotated[EyeName, Field(description="schematic eye by name")]
    pupil_mm: Annotated[float, within("pupil_mm")]


class RayOfFan(Record):
    """One ray from far away."""

    height_mm: Annotated[float, Field(description="distance from the axis in front of the cornea")]
    focus_mm: Annotated[float | None, Field(description="depth behind the cornea where it crosses the axis")]
    refraction_d: Annotated[
        float | None, Field(description="what this height of the pupil needs at the cornea, retina at the sharp length")
    ]


class LostRay(Record):
    """A ray that does not get through."""

    height_mm: Annotated[float, Field(description="distance from the axis in front of the cornea")]
    surface: Annotated[str, Field(description="surface at which it is lost, counted from the front")]
    why: Annotated[str, Field(description="misses it, is totally reflected, or passes beside its edge")]
    at_mm: Annotated[tuple[float, float, float], Field(description="point from which, or at which, it was lost: x y z")]


class RayTraceOutput(Record):
    """Where the light of a finite pupil is sharp, and by how much its rays disagree."""

    paraxial_length_mm: Annotated[float, Field(description="length at which rays near the axis are sharp")]
    best_refraction_d: Annotated[
        float | None, Field(description="refraction at the cornea of the smallest spot, retina at the sharp length")
    ]
    wavefront_refraction_d: Annotated[
        float | None, Field(description="refraction at the cornea from the wavefront's term of second order")
    ]
    spherical_aberration_d: Annotated[
        float | None,
        Field(description="refraction of the edge of the pupil less that near the axis; negative as usual"),
    ]
    spherical_aberration_um: Annotated[
        float | None, Field(description="Zernike coefficient of primary spherical aberration over this pupil")
    ]
    blur_arcmin: Annotated[
        float | None, Field(description="radius (root mean square) of the smallest spot, as an angle")
    ]
    fan: Annotated[
        tuple[RayOfFan, ...], Field(description="rays at a quarter, half, three quarters and all of the pupil")
    ]
    lost: Annotated[tuple[LostRay, ...], Field(description="rays of the fan that do not get through, and where")]


@calculation(
    "ray-trace",
    summary="Exact rays through a published schematic eye: spherical aberration and best focus of a finite pupil",
    formula="closed-form meeting of ray and conic, vector Snell law; gradients by fourth-order steps; least squares of "
    "the slopes of rays sent out from the fovea; Zernike polynomials up to order 6",
    valid="one wavelength, on the axis, all places of the pupil alike; eyes published without asphericities have spheres",
    input=RayTraceInput,
    output=RayTraceOutput,
    example={"eye": "navarro", "pupil_mm": 5},
)
def ray_trace_calculation(given: RayTraceInput, use: Reader) -> tuple[RayTraceOutput, list[Doubt]]:
    """Rays in for the crossings, rays out for refraction and wavefront."""
    eye = schematic_eye(use.table(ROWS[given.eye]))
    train = schematic_train(eye)
    length = schematic.cardinal(eye).paraxial_length_mm
    heights = 0.5 * given.pupil_mm * np.array(FAN)
    sent = directed(at_mm=(heights, 0.0, -BEFORE_MM), slope_x=0.0, slope_y=0.0)
    crossings = _crossings(ray_trace.trace(train, sent))
    needs = _needs(train, length, heights)
    rays = ray_wave.bundle(train, fovea_mm=(0.0, 0.0, length), pupil_mm=given.pupil_mm)
    doubts = []
    focus = wave = None
    if np.isfinite(rays.slope_x).all():
        focus, wave = ray_wave.least_blur(rays), ray_wave.wavefront(rays, pupil_mm=given.pupil_mm)
    else:
        says = tr("Not all rays of a pupil of {mm:g} mm get through this eye: no refraction for it.", mm=given.pupil_mm)
        doubts.append(Doubt("rays-lost", says))
    if not eye.asphericities:
        says = tr(
            "This eye was published for rays near the axis, with spheres: its aberration is larger than an eye's."
        )
        doubts.append(Doubt("spherical-surfaces", says))
    output = RayTraceOutput(
        paraxial_length_mm=length,
        best_refraction_d=None if focus is None else float(focus.mean_d),
        wavefront_refraction_d=None if wave is None else float(wave.focus()[0]),
        spherical_aberration_d=needs[-1],
        spherical_aberration_um=None if wave is None else float(wave.terms_um[4, 0]),
        blur_arcmin=None if focus is None else ARCMIN * float(focus.blur),
        fan=tuple(
            RayOfFan(height_mm=float(h), focus_mm=f, refraction_d=n)
            for h, f, n in zip(heights, crossings, needs, strict=True)
        ),
        lost=_lost(train, sent),
    )
    return output, doubts


def _crossings(out: Rays) -> list[float | None]:
    depth = out.at_mm[2] - out.at_mm[0] * out.along[2] / out.along[0]
    return [_known(v) for v in depth]


def _needs(train: Train, length_mm: float, heights_mm: np.ndarray) -> list[float | None]:
    """What each height needs at the cornea, by a ray sent out from the fovea to that height."""
    rays = ray_wave.outward(
        train,
        fovea_mm=(0.0, 0.0, length_mm),
        x_mm=heights_mm,
        y_mm=np.zeros_like(heights_mm),
        weight=np.ones_like(heights_mm),
    )
    return [_known(v) for v in 1000 * rays.slope_x / rays.x_mm]


def _lost(train: Train, sent: Rays) -> tuple[LostRay, ...]:
    words = {
        "misses": tr("misses it"),
        "totally-reflected": tr("is totally reflected"),
        "beside": tr("passes beside its edge"),
    }
    return tuple(
        LostRay(
            height_mm=float(sent.at_mm[0, loss.ray]), surface=loss.surface, why=words[loss.reason], at_mm=loss.at_mm
        )
        for loss in ray_trace.losses(train, sent)
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


class LensShapeInput(ShapeInput):
    """A lens of known power."""

    power_d: Annotated[float, within("power_d")]


class LensShapeOutput(Record):
    """The surfaces of the lens, and where it acts as a thin one."""

    front_radius_mm: Annotated[float | None, Field(description="radius of the front, positive if convex; null if flat")]
    back_radius_mm: Annotated[float | None, Field(description="radius of the back, negative if convex; null if flat")]
    centre_thickness_mm: Annotated[float, Field(description="thickness in the centre")]
    edge_mm: Annotated[float, Field(description="thickness at the rim of the optic")]
    front_power_d: Annotated[float, Field(description="power of the front in the eye")]
    back_power_d: Annotated[float, Field(description="power of the back in the eye")]
    front_principal_mm: Annotated[float, Field(description="front principal plane, behind the front vertex")]
    back_principal_mm: Annotated[float, Field(description="back principal plane, behind the front vertex")]
    shift_when_reversed_mm: Annotated[
        float, Field(description="how far the middle of the principal planes goes back if the lens is put in reversed")
    ]


@calculation(
    "lens-shape",
    summary="Radii and principal planes of a lens from its power, index, shape factor and centre thickness",
    formula="c1 = (X + 1) D / 2, c2 = (X - 1) D / 2; D = 2 p / (a + sqrt(a^2 + 4 k p)), a = n_lens - n, "
    "k = t a^2 (X^2 - 1) / (4 n_lens), p = P / 1000",
    valid="rays near the axis; power in the eye, index of the humours 1.336",
    input=LensShapeInput,
    output=LensShapeOutput,
    example={"power_d": 22, "lens_index": 1.47, "shape_factor": 0, "centre_thickness_mm": 0.8},
)
def lens_shape_calculation(given: LensShapeInput, use: Reader) -> tuple[LensShapeOutput, list[Doubt]]:
    """The closed form of the shape, and the paraxial planes that follow."""
    make, doubts = make_of(given, use)
    index = use.number("thick_eye.humour_index")
    lens = real(make, power_d=given.power_d, humour_index=index)
    thickness = float(lens.thickness_mm)
    front, back = (float(v) for v in lens.principal_planes_mm(humour_index=index))
    step = 1000 * (lens.index - index)
    output = LensShapeOutput(
        front_radius_mm=1 / float(lens.front_per_mm) if lens.front_per_mm else None,
        back_radius_mm=1 / float(lens.back_per_mm) if lens.back_per_mm else None,
        centre_thickness_mm=thickness,
        edge_mm=float(edge_mm(lens, optic_diameter_mm=make.optic.optic_diameter_mm)),
        front_power_d=step * float(lens.front_per_mm),
        back_power_d=-step * float(lens.back_per_mm),
        front_principal_mm=front,
        back_principal_mm=thickness + back,
        shift_when_reversed_mm=-(front + back),
    )
    return output, doubts


CALCULATIONS = (
    ray_trace_calculation,
    lens_shape_calculation,
    thick_lens_power_calculation,
    lens_shift_calculation,
)
