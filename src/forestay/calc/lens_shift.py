"""The calculation ``lens-shift``: what a lens that lies off its place does to sphere, cylinder, prism and sharpness."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.keratometry import Keratometry, vector_of
from forestay.calc.ray_input import ThickEyeInput, inside, subject_of
from forestay.errors import MissingInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import angle_deg, mirror_axis, mirror_hour, wrap_hour
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.ray_refraction import PowerVector
from forestay.optics.thick_eye import Place
from forestay.optics.thick_power import Cost, cost
from forestay.record import Record
from forestay.text import tr

ARCMIN = float(60 * np.degrees(1.0))
PRISM = 100.0
"""Prism dioptres for a slope of 1."""
AXES = ("k1_axis_deg", "k2_axis_deg")
CLOCKS = ("displacement_clock", "tilt_clock")


class LensShiftInput(ThickEyeInput):
    """The eye with its lens, and where the lens lies against its place."""

    power_d: Annotated[float, within("power_d")]
    k1_axis_deg: Annotated[float, within("k1_axis_deg")] | None = None
    k2_axis_deg: Annotated[float, within("k2_axis_deg")] | None = None
    displacement_mm: Annotated[float, within("displacement_mm")] = 0.0
    displacement_clock: Annotated[float, within("clock")] | None = None
    tilt_deg: Annotated[float, within("tilt_deg")] = 0.0
    tilt_clock: Annotated[
        float | None,
        Field(gt=0, le=12, description="clock hour whose edge has gone back; absent: that of the displacement"),
    ] = None
    axial_shift_mm: Annotated[float, within("axial_shift_mm")] = 0.0
    reversed: Annotated[bool, Field(description="whether the lens lies there back to front")] = False


class Spectacles(Record):
    """A refraction in spectacles, vertex 12 mm."""

    sphere_d: Annotated[float, Field(description="sphere of the minus form")]
    cylinder_d: Annotated[float, Field(description="cylinder, 0 or negative")]
    axis_deg: Annotated[float, Field(description="axis of the cylinder")]
    mean_d: Annotated[float, Field(description="spherical equivalent M")]
    j0_d: Annotated[float, Field(description="power vector J0: positive, the vertical meridian needs the minus")]
    j45_d: Annotated[float, Field(description="power vector J45")]


class LensShiftOutput(Record):
    """Refraction with the lens centred and where it lies, and the difference; null where rays do not get through."""

    before: Annotated[Spectacles | None, Field(description="with the lens centred")]
    after: Annotated[Spectacles | None, Field(description="with the lens where it lies")]
    change: Annotated[
        Spectacles | None, Field(description="difference of the power vectors, as a refraction of its own")
    ]
    prism_d: Annotated[
        float | None, Field(description="prism in prism dioptres: how far the eye must turn to fix again")
    ]
    prism_clock: Annotated[
        float | None, Field(description="clock hour to which it looks if it does not turn; null if nowhere")
    ]
    blur_before_arcmin: Annotated[
        float | None, Field(description="radius of the smallest spot that spectacles leave, lens centred")
    ]
    blur_after_arcmin: Annotated[float | None, Field(description="the same with the lens where it lies")]


@calculation(
    "lens-shift",
    summary="What displacement, tilt, axial shift or reversal of a lens does to sphere, cylinder and prism",
    formula="rays from the fovea out through the moved thick lens; least squares of slopes: power vector and prism; "
    "difference to the centred lens",
    valid="pupil and fovea on the axis of the cornea; one wavelength; spherical lens surfaces unless asphericities are given",
    input=LensShiftInput,
    output=LensShiftOutput,
    example={
        "axial_length_mm": 23.5,
        "k1_d": 43.5,
        "k1_axis_deg": 180,
        "k2_d": 44.5,
        "k2_axis_deg": 90,
        "lens_front_mm": 4.3,
        "material": "acrylic",
        "power_d": 21,
        "displacement_mm": 0.6,
        "displacement_clock": 6,
        "tilt_deg": 6,
        "tilt_clock": 6,
        "pupil_mm": 3,
    },
)
def lens_shift_calculation(given: LensShiftInput, use: Reader) -> tuple[LensShiftOutput, list[Doubt]]:
    """Solved in one of the two mirrored frames, so that mirrored eyes give the same numbers."""
    told = _complete(given)
    other = _mirrored(told.given)
    if _key(other) < _key(told.given):
        output, doubts = _solve(_Complete(other, told.doubts), use)
        return _mirror_output(output), doubts
    return _solve(told, use)


@dataclass(frozen=True)
class _Complete:
    """The input with every clock hour settled, and what had to be taken."""

    given: LensShiftInput
    doubts: tuple[Doubt, ...]


def _complete(given: LensShiftInput) -> _Complete:
    doubts = []
    if given.displacement_mm and given.displacement_clock is None:
        raise MissingInput(
            tr("{name} is missing; it is needed with {other}.", name="displacement_clock", other="displacement_mm"),
            field="displacement_clock",
        )
    tilt_clock = given.tilt_clock
    if given.tilt_deg and tilt_clock is None:
        tilt_clock = given.displacement_clock
        if tilt_clock is None:
            raise MissingInput(
                tr("{name} is missing; it is needed with {other}.", name="tilt_clock", other="tilt_deg"),
                field="tilt_clock",
            )
        says = tr(
            "Which edge has gone back was not given: that of the displacement, {clock:g} o'clock.", clock=tilt_clock
        )
        doubts.append(Doubt("tilt-clock-assumed", says))
    return _Complete(given.model_copy(update={"tilt_clock": tilt_clock}), tuple(doubts))


def _key(given: LensShiftInput) -> tuple[float, ...]:
    return tuple(getattr(given, name) or 0.0 for name in (*CLOCKS, *AXES))


def _mirrored(given: LensShiftInput) -> LensShiftInput:
    flipped: dict[str, float] = {}
    for names, mirror in ((AXES, mirror_axis), (CLOCKS, mirror_hour)):
        flipped |= {n: mirror(v) for n in names if (v := getattr(given, n)) is not None}
    return given.model_copy(update=flipped)


def _solve(told: _Complete, use: Reader) -> tuple[LensShiftOutput, list[Doubt]]:
    given = told.given
    astigmatism, doubts = _astigmatism(given, use)
    ready = subject_of(given, astigmatism, use)
    inside(ready.subject, power_d=given.power_d)
    place = Place(
        aside_mm=given.displacement_mm,
        aside_deg=angle_deg(given.displacement_clock or 0.0),
        back_mm=given.axial_shift_mm,
        tilt_deg=given.tilt_deg,
        tilt_toward_deg=angle_deg(given.tilt_clock or 0.0),
    )
    found = cost(ready.subject, power_d=given.power_d, place=place, reversed_there=given.reversed)
    doubts = [*told.doubts, *doubts, *ready.doubts]
    if not np.isfinite(found.after.mean_d):
        says = tr("The edge of the lens stands in the pupil, or rays do not get through: no refraction was worked out.")
        doubts.append(Doubt("edge-in-the-pupil", says))
    return _output(found), doubts


def _astigmatism(given: LensShiftInput, use: Reader) -> tuple[DoubleAngle | None, list[Doubt]]:
    if given.k1_axis_deg is None and given.k2_axis_deg is None:
        says = tr("The meridians of the readings were not given: the cornea was taken as spherical in its mean.")
        return None, [Doubt("corneal-astigmatism-not-counted", says)]
    for name in AXES:
        if getattr(given, name) is None:
            raise MissingInput(
                tr("{name} is missing; it is needed with {other}.", name=name, other=AXES[name == AXES[0]]), field=name
            )
    readings = Keratometry(
        k1_d=given.k1_d,
        k1_axis_deg=given.k1_axis_deg or 0.0,
        k2_d=given.k2_d,
        k2_axis_deg=given.k2_axis_deg or 0.0,
    )
    return vector_of(readings, field="", use=use)


def _output(found: Cost) -> LensShiftOutput:
    seen = bool(np.isfinite(found.after.mean_d))
    x, y = float(found.prism_x), float(found.prism_y)
    return LensShiftOutput(
        before=_spectacles(found.before),
        after=_spectacles(found.after),
        change=_spectacles(found.change),
        prism_d=PRISM * float(np.hypot(x, y)) if seen else None,
        prism_clock=_clock(x, y) if seen else None,
        blur_before_arcmin=_known(ARCMIN * float(found.blur_before)),
        blur_after_arcmin=_known(ARCMIN * float(found.blur)),
    )


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _clock(x: float, y: float) -> float | None:
    """Clock hour of a direction; None where there is none beyond rounding."""
    if np.hypot(x, y) < 1e-9:
        return None
    return wrap_hour(round((90 - float(np.degrees(np.arctan2(y, x)))) / 30, 9))


def _spectacles(vector: PowerVector) -> Spectacles | None:
    if not np.isfinite(vector.mean_d):
        return None
    return Spectacles(
        sphere_d=float(vector.sphere_d),
        cylinder_d=float(vector.cylinder_d),
        axis_deg=float(vector.axis_deg),
        mean_d=float(vector.mean_d),
        j0_d=float(vector.j0_d),
        j45_d=float(vector.j45_d),
    )


def _mirror_output(output: LensShiftOutput) -> LensShiftOutput:
    def flip(one: Spectacles | None) -> Spectacles | None:
        return one and one.model_copy(update={"axis_deg": mirror_axis(one.axis_deg), "j45_d": -one.j45_d})

    clock = output.prism_clock
    return output.model_copy(
        update={
            "before": flip(output.before),
            "after": flip(output.after),
            "change": flip(output.change),
            "prism_clock": None if clock is None else mirror_hour(clock),
        }
    )
