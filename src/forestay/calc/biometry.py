"""Calculations of biometry: a length by ultrasound, and schematic eyes as a standard to compare with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import allowed, bounds, within
from forestay.optics import schematic, ultrasound
from forestay.record import Record
from forestay.text import tr


class UltrasoundLengthInput(Record):
    """What the instrument printed, and how it was used."""

    measured_mm: Annotated[float, within("measured_mm")]
    assumed_velocity_m_s: Annotated[float, within("assumed_velocity_m_s")]
    eye_state: Annotated[ultrasound.EyeState, Field(description="what the sound went through")]
    method: Annotated[ultrasound.Method, Field(description="probe in a water bath, or pressed on the cornea")]
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None
    lens_material: Annotated[ultrasound.Material | None, Field(description="material of an implanted lens")] = None
    implant_thickness_mm: Annotated[float, within("implant_thickness_mm")] | None = None


class LengthWay(Record):
    """One way from the reading to the length."""

    way: Annotated[str, Field(description="segments, whole-eye, by-length or implanted-lens")]
    axial_length_mm: Annotated[float, Field(description="length that it gives, before anything is added back")]
    taken: Annotated[bool, Field(description="whether the answer rests on it")]


class UltrasoundLengthOutput(Record):
    """The length to plan with."""

    axial_length_mm: Annotated[float, Field(description="length of the eye to plan with")]
    sd_mm: Annotated[float, Field(description="one standard deviation of that length")]
    velocity_corrected_mm: Annotated[float, Field(description="before anything is added back for a contact probe")]
    added_back_mm: Annotated[float, Field(description="mean compression by a contact probe, added back")]
    ways: Annotated[tuple[LengthWay, ...], Field(description="every way that these inputs allow, to compare")]


@calculation(
    "ultrasound-length",
    summary="Axial length from an ultrasound reading, with the right velocity and the probe's pressure added back",
    formula=(
        "by segments L = v_fluid (reading / v_assumed - t_lens / v_lens) + t_lens; else L = reading v / v_assumed;"
        " with an implanted lens L = reading at 1532 m/s + 0.04 + f t"
    ),
    valid="adult eyes; spread of the contact probe from 92 eyes",
    input=UltrasoundLengthInput,
    output=UltrasoundLengthOutput,
    example={
        "measured_mm": 22.4,
        "assumed_velocity_m_s": 1550,
        "eye_state": "dense-cataract",
        "lens_thickness_mm": 4.85,
        "method": "contact",
    },
)
def ultrasound_length_calculation(
    given: UltrasoundLengthInput, use: Reader
) -> tuple[UltrasoundLengthOutput, list[Doubt]]:
    """Velocity first, then the compression of a contact probe."""
    found = ultrasound.length(
        measured_mm=given.measured_mm,
        assumed_velocity_m_s=given.assumed_velocity_m_s,
        eye_state=given.eye_state,
        lens_thickness_mm=given.lens_thickness_mm,
        method=given.method,
        read=use.constants,
        material=given.lens_material,
        implant_thickness_mm=given.implant_thickness_mm,
    )
    length = float(found.axial_length_mm)
    low, high = bounds("axial_length_mm")
    if not low <= length <= high:
        raise InvalidInput(
            tr(
                "These values give an axial length of {length:.2f} mm; allowed: {words}."
                " Check measured_mm and assumed_velocity_m_s.",
                length=length,
                words=allowed("axial_length_mm"),
            ),
            field="measured_mm",
            value=given.measured_mm,
            allowed=allowed("axial_length_mm"),
        )
    output = UltrasoundLengthOutput(
        axial_length_mm=length,
        sd_mm=found.sd_mm,
        velocity_corrected_mm=length - found.added_back_mm,
        added_back_mm=found.added_back_mm,
        ways=tuple(
            LengthWay(way=way, axial_length_mm=float(mm), taken=way == found.way) for way, mm in found.ways_mm.items()
        ),
    )
    return output, list(found.doubts)


EyeName = Literal["gullstrand-exact", "gullstrand-emsley", "le-grand", "navarro", "liou-brennan"]
ROWS: Mapping[EyeName, str] = {
    "gullstrand-exact": "schematic_eye.gullstrand_exact",
    "gullstrand-emsley": "schematic_eye.gullstrand_emsley",
    "le-grand": "schematic_eye.le_grand",
    "navarro": "schematic_eye.navarro",
    "liou-brennan": "schematic_eye.liou_brennan",
}


class SchematicEyeInput(Record):
    """Which eye."""

    eye: Annotated[EyeName, Field(description="schematic eye by name")]


class SchematicEyeOutput(Record):
    """Powers in situ, and the length at which parallel light is sharp."""

    power_d: Annotated[float, Field(description="power of the whole eye")]
    paraxial_length_mm: Annotated[float, Field(description="length at which parallel light is sharp")]
    corneal_power_d: Annotated[float, Field(description="power of the cornea")]
    lens_power_d: Annotated[float, Field(description="power of the lens in place")]


@calculation(
    "schematic-eye",
    summary="Power and paraxial length of a published schematic eye",
    formula="product of paraxial matrices; F = (n2 - n1) / r, gaps t / n, gradients as a stack of thin slabs",
    valid="paraxial rays on the axis; unaccommodated eyes",
    input=SchematicEyeInput,
    output=SchematicEyeOutput,
    example={"eye": "liou-brennan"},
)
def schematic_eye_calculation(given: SchematicEyeInput, use: Reader) -> tuple[SchematicEyeOutput, list[Doubt]]:
    """Matrix product from cornea to retina."""
    found = schematic.cardinal(schematic_eye(use.table(ROWS[given.eye])))
    output = SchematicEyeOutput(
        power_d=found.power_d,
        paraxial_length_mm=found.paraxial_length_mm,
        corneal_power_d=found.corneal_power_d,
        lens_power_d=found.lens_power_d,
    )
    return output, []


def schematic_eye(row: Mapping[str, Any]) -> schematic.SchematicEye:
    """An eye of the evidence as the engine takes it."""
    gradients = tuple(
        schematic.Gradient(row[f"{half}_thickness_mm"], row[f"{half}_axis"], row[f"{half}_radial"])
        for half in ("front", "rear")
        if f"{half}_axis" in row
    )
    return schematic.SchematicEye(
        radii_mm=row["radii_mm"],
        indices=row["indices"],
        gaps_mm=row["gaps_mm"],
        corneal_surfaces=int(row["corneal_surfaces"]),
        gradients=gradients,
        asphericities=row.get("asphericities", ()),
    )


CALCULATIONS = (ultrasound_length_calculation, schematic_eye_calculation)
