"""The length of the eye from an ultrasound reading: right velocity for the eye, compression added back, spread.

An instrument prints time times one velocity. The ways to the length:

    whole eye       L = reading v / v_assumed            (v by state: phakic, aphakic, filled with silicone oil)
    segments        L = v_fluid (reading / v_assumed - t_lens / v_lens) + t_lens
    by length       L = R^2 / (R - 0.35),  R the reading at the velocity of fluid: whole phakic eye, faster when short
    lens implanted  L = R + 0.04 + f t_implant,  f by material of the implanted lens

Segments are used where the thickness of the natural lens is known. A contact probe shortens the eye: the mean
compression is added back. Inputs: reading 14 to 40 mm, velocity 900 to 2000 m/s, lens thickness 2 to 9 mm (true, not as
displayed), of an implanted lens 0.2 to 2 mm.

References: Hoffer, doi 10.1016/s0886-3350(13)80237-4; immersion and contact in 92 adult eyes, PMC4881192.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias

from forestay.answer import Doubt
from forestay.errors import InvalidInput, MissingInput
from forestay.optics.values import Number, Read
from forestay.text import tr

EyeState: TypeAlias = Literal[
    "phakic", "dense-cataract", "swollen-lens", "aphakic", "pseudophakic", "oil-filled", "oil-filled-aphakic"
]
Method: TypeAlias = Literal["immersion", "contact"]
Material: TypeAlias = Literal["pmma", "silicone", "acrylic", "glass"]
NATURAL_LENS: tuple[EyeState, ...] = ("phakic", "dense-cataract", "swollen-lens")
"""States in which the natural lens is in the way of the sound, and its thickness can be used."""


@dataclass(frozen=True, slots=True)
class Velocities:
    """Velocities of sound [m/s]: fluid, lens, and the whole phakic eye on average."""

    PREFIX: ClassVar[str] = "ultrasound.eye"
    fluid_velocity_m_s: float
    lens_velocity_m_s: float
    phakic_velocity_m_s: float


@dataclass(frozen=True, slots=True)
class DenseLens:
    """Velocity in a dense cataract [m/s]."""

    PREFIX: ClassVar[str] = "ultrasound.dense_lens"
    velocity_m_s: float


@dataclass(frozen=True, slots=True)
class SwollenLens:
    """Velocity in a lens swollen with fluid [m/s]."""

    PREFIX: ClassVar[str] = "ultrasound.swollen_lens"
    velocity_m_s: float


@dataclass(frozen=True, slots=True)
class ByLength:
    """What the average lens takes off a reading at the velocity of fluid [mm]."""

    PREFIX: ClassVar[str] = "ultrasound.by_length"
    taken_off_mm: float


@dataclass(frozen=True, slots=True)
class Implanted:
    """What an implanted lens changes: the cornea's part [mm], and mm for each mm of lens by material."""

    PREFIX: ClassVar[str] = "ultrasound.implanted"
    cornea_mm: float
    pmma: float
    silicone: float
    acrylic: float
    glass: float


@dataclass(frozen=True, slots=True)
class Oil:
    """Average velocity of a whole eye filled with silicone oil [m/s], with its lens and without; spread left [mm]."""

    PREFIX: ClassVar[str] = "ultrasound.oil"
    phakic_velocity_m_s: float
    aphakic_velocity_m_s: float
    sd_mm: float


@dataclass(frozen=True, slots=True)
class Immersion:
    """Error of an immersion length [mm]."""

    PREFIX: ClassVar[str] = "ultrasound.immersion"
    sd_mm: float


@dataclass(frozen=True, slots=True)
class Contact:
    """Mean compression by a contact probe, and what is left of error once it is added back [mm]."""

    PREFIX: ClassVar[str] = "ultrasound.contact"
    compression_mm: float
    sd_mm: float


@dataclass(frozen=True, slots=True)
class Length:
    """Axial length [mm], what was added back for the probe [mm], one standard deviation [mm], doubts; the way taken, and
    what each way that was open says before anything is added back [mm]."""

    axial_length_mm: Number
    added_back_mm: float
    sd_mm: float
    doubts: tuple[Doubt, ...]
    way: str
    ways_mm: Mapping[str, Number]


def whole_eye_mm(*, measured_mm: Number, assumed_velocity_m_s: Number, velocity_m_s: Number) -> Number:
    """Length [mm] when one velocity is replaced by another.

    >>> round(whole_eye_mm(measured_mm=23.5, assumed_velocity_m_s=1550.0, velocity_m_s=1532.0), 3)
    23.227
    """
    return measured_mm * velocity_m_s / assumed_velocity_m_s


def segmental_mm(
    *,
    measured_mm: Number,
    assumed_velocity_m_s: Number,
    lens_thickness_mm: Number,
    lens_velocity_m_s: float,
    fluid_velocity_m_s: float,
) -> Number:
    """Length [mm] with the lens at its own velocity and all else at that of fluid.

    >>> round(segmental_mm(measured_mm=23.188, assumed_velocity_m_s=1532.0, lens_thickness_mm=4.7,
    ...                    lens_velocity_m_s=1641.0, fluid_velocity_m_s=1532.0), 3)
    23.5
    """
    in_fluid = measured_mm / assumed_velocity_m_s - lens_thickness_mm / lens_velocity_m_s
    return fluid_velocity_m_s * in_fluid + lens_thickness_mm


def by_length_mm(*, fluid_reading_mm: Number, taken_off_mm: float) -> Number:
    """Length [mm] of a phakic eye from its reading at the velocity of fluid [mm]; the average lens, not this one.

    >>> round(by_length_mm(fluid_reading_mm=23.188, taken_off_mm=0.35), 3)
    23.543
    """
    return fluid_reading_mm * fluid_reading_mm / (fluid_reading_mm - taken_off_mm)


def implanted_mm(*, fluid_reading_mm: Number, implant_thickness_mm: Number, factor: float, cornea_mm: float) -> Number:
    """Length [mm] with an implanted lens of a centre thickness [mm], from the reading at the velocity of fluid [mm].

    >>> round(implanted_mm(fluid_reading_mm=23.5, implant_thickness_mm=0.7, factor=0.44, cornea_mm=0.04), 3)
    23.848
    """
    return fluid_reading_mm + cornea_mm + factor * implant_thickness_mm


def length(
    *,
    measured_mm: Number,
    assumed_velocity_m_s: float,
    eye_state: EyeState,
    lens_thickness_mm: Number | None,
    method: Method,
    read: Read,
    material: Material | None = None,
    implant_thickness_mm: Number | None = None,
) -> Length:
    """The length by the rules above, with what was assumed.

    ``lens_thickness_mm`` is that of the natural lens; ``material`` and ``implant_thickness_mm`` are those of an implanted
    one. Raises where the state of the eye and what is told of its lens do not agree.
    """
    reading = _Reading(measured_mm, assumed_velocity_m_s, eye_state, lens_thickness_mm, material, implant_thickness_mm)
    way, ways, doubts, extra_sd = _ways(reading, read)
    corrected = ways[way]
    if method == "immersion":
        return Length(corrected, 0.0, _with(read(Immersion).sd_mm, extra_sd), tuple(doubts), way, ways)
    probe = read(Contact)
    says = tr(
        "A contact probe presses the eye shorter: the mean of {added:.2f} mm was added back; one eye may differ from it"
        " by {sd:.2f} mm (one standard deviation).",
        added=probe.compression_mm,
        sd=probe.sd_mm,
    )
    doubts.append(Doubt("contact-compression-added-back", says))
    added = probe.compression_mm
    return Length(corrected + added, added, _with(probe.sd_mm, extra_sd), tuple(doubts), way, ways)


def _with(sd_mm: float, extra_mm: float) -> float:
    return math.hypot(sd_mm, extra_mm)


@dataclass(frozen=True, slots=True)
class _Reading:
    measured_mm: Number
    assumed_velocity_m_s: float
    eye_state: EyeState
    lens_thickness_mm: Number | None
    material: Material | None
    implant_thickness_mm: Number | None

    def at(self, velocity_m_s: float) -> Number:
        return whole_eye_mm(
            measured_mm=self.measured_mm, assumed_velocity_m_s=self.assumed_velocity_m_s, velocity_m_s=velocity_m_s
        )


Ways: TypeAlias = tuple[str, dict[str, Number], list[Doubt], float]
"""The way taken, what each way says [mm], doubts, and what the state adds to the spread [mm]."""


def _ways(reading: _Reading, read: Read) -> Ways:
    """The reading under the right velocity [mm], before anything is added back."""
    state = reading.eye_state
    _agree(reading)
    if state == "pseudophakic":
        return _with_implant(reading, read)
    if state in ("oil-filled", "oil-filled-aphakic"):
        return _with_oil(reading, read)
    velocities = read(Velocities)
    if state == "aphakic":
        return "whole-eye", {"whole-eye": reading.at(velocities.fluid_velocity_m_s)}, [], 0.0
    return _with_natural_lens(reading, velocities, read)


def _agree(reading: _Reading) -> None:
    """Refuse a lens that the state of the eye does not have, and an implanted lens that is not described."""
    state = reading.eye_state
    thickness = reading.lens_thickness_mm
    if thickness is not None and state not in (*NATURAL_LENS, "oil-filled"):
        raise InvalidInput(
            tr(
                "lens_thickness_mm is given for an aphakic eye or one with an implanted lens; leave it out or correct"
                " eye_state."
            ),
            field="lens_thickness_mm",
            value=thickness if isinstance(thickness, float | int) else None,
            allowed=tr("nothing in an eye without its natural lens"),
        )
    told = {"lens_material": reading.material, "implant_thickness_mm": reading.implant_thickness_mm}
    for name, value in told.items():
        if state == "pseudophakic" and value is None:
            raise MissingInput(
                tr("{name} is missing; the sound's way through an implanted lens depends on it.", name=name),
                field=name,
                allowed=tr("material and centre thickness of the implanted lens"),
            )
        if state != "pseudophakic" and value is not None:
            raise InvalidInput(
                tr(
                    "{name} is given for an eye without an implanted lens; leave it out or correct eye_state.",
                    name=name,
                ),
                field=name,
                value=str(value),
                allowed=tr("nothing unless eye_state is pseudophakic"),
            )


def _with_natural_lens(reading: _Reading, velocities: Velocities, read: Read) -> Ways:
    ways: dict[str, Number] = {
        "whole-eye": reading.at(velocities.phakic_velocity_m_s),
        "by-length": by_length_mm(
            fluid_reading_mm=reading.at(velocities.fluid_velocity_m_s), taken_off_mm=read(ByLength).taken_off_mm
        ),
    }
    thickness = reading.lens_thickness_mm
    if thickness is None:
        doubt = _whole_eye_doubt(reading.eye_state, velocities.phakic_velocity_m_s)
        return "whole-eye", ways, [doubt], 0.0
    if reading.eye_state == "swollen-lens":
        lens = read(SwollenLens).velocity_m_s
    else:
        lens = read(DenseLens).velocity_m_s if reading.eye_state == "dense-cataract" else velocities.lens_velocity_m_s
    ways["segments"] = segmental_mm(
        measured_mm=reading.measured_mm,
        assumed_velocity_m_s=reading.assumed_velocity_m_s,
        lens_thickness_mm=thickness,
        lens_velocity_m_s=lens,
        fluid_velocity_m_s=velocities.fluid_velocity_m_s,
    )
    return "segments", ways, [], 0.0


def _with_implant(reading: _Reading, read: Read) -> Ways:
    implanted = read(Implanted)
    fluid = reading.at(read(Velocities).fluid_velocity_m_s)
    found = implanted_mm(
        fluid_reading_mm=fluid,
        implant_thickness_mm=reading.implant_thickness_mm or 0.0,
        factor=getattr(implanted, str(reading.material)),
        cornea_mm=implanted.cornea_mm,
    )
    return "implanted-lens", {"implanted-lens": found, "whole-eye": fluid}, [], 0.0


def _with_oil(reading: _Reading, read: Read) -> Ways:
    oil = read(Oil)
    aphakic = reading.eye_state == "oil-filled-aphakic"
    says = tr(
        "The velocity is that of an eye quite full of oil; a bubble that does not reach the retina or the lens, another"
        " oil, or a head not held upright falsify it. Measure by light, or after the oil is out, if that can be had."
    )
    velocity = oil.aphakic_velocity_m_s if aphakic else oil.phakic_velocity_m_s
    return "whole-eye", {"whole-eye": reading.at(velocity)}, [Doubt("oil-fill-unknown", says)], oil.sd_mm


def _whole_eye_doubt(eye_state: EyeState, velocity: float) -> Doubt:
    if eye_state == "phakic":
        says = tr(
            "Without lens_thickness_mm one average velocity ({velocity:g} m/s) was used for the whole eye; it is too"
            " slow for a short eye and too fast for a long one.",
            velocity=velocity,
        )
    elif eye_state == "swollen-lens":
        says = tr(
            "Without lens_thickness_mm the swollen lens has no velocity of its own: {velocity:g} m/s was used for the"
            " whole eye.",
            velocity=velocity,
        )
    else:
        says = tr(
            "Without lens_thickness_mm the dense lens has no velocity of its own: {velocity:g} m/s was used for the"
            " whole eye.",
            velocity=velocity,
        )
    return Doubt("whole-eye-velocity", says)
