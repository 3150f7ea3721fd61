"""The length of the eye from an ultrasound reading: right velocity for the eye, compression added back, spread.

An instrument prints time times one velocity. Two ways to the length:

    whole eye   L = reading v / v_assumed
    segments    L = v_fluid (reading / v_assumed - t_lens / v_lens) + t_lens

Segments are used where the lens thickness is known. A contact probe shortens the eye: the mean compression is added
back. Inputs: reading 14 to 40 mm, velocity 900 to 2000 m/s, lens thickness 2 to 9 mm (true, not as displayed).

References: Hoffer, doi 10.1016/s0886-3350(13)80237-4; immersion and contact in 92 adult eyes, PMC4881192.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias

from forestay.answer import Doubt
from forestay.errors import InvalidInput
from forestay.optics.values import Number, Read
from forestay.text import tr

EyeState: TypeAlias = Literal["phakic", "dense-cataract", "aphakic"]
Method: TypeAlias = Literal["immersion", "contact"]


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
    """Axial length [mm], what was added back for the probe [mm], one standard deviation [mm], and doubts."""

    axial_length_mm: Number
    added_back_mm: float
    sd_mm: float
    doubts: tuple[Doubt, ...]


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


def length(
    *,
    measured_mm: Number,
    assumed_velocity_m_s: float,
    eye_state: EyeState,
    lens_thickness_mm: Number | None,
    method: Method,
    read: Read,
) -> Length:
    """The length by the rules above, with what was assumed. Raises where an aphakic eye is given a lens thickness."""
    corrected, doubts = _corrected(
        measured_mm=measured_mm,
        assumed_velocity_m_s=assumed_velocity_m_s,
        eye_state=eye_state,
        lens_thickness_mm=lens_thickness_mm,
        read=read,
    )
    if method == "immersion":
        return Length(corrected, 0.0, read(Immersion).sd_mm, tuple(doubts))
    probe = read(Contact)
    says = tr(
        "A contact probe presses the eye shorter: the mean of {added:.2f} mm was added back; one eye may differ from it"
        " by {sd:.2f} mm (one standard deviation).",
        added=probe.compression_mm,
        sd=probe.sd_mm,
    )
    doubts.append(Doubt("contact-compression-added-back", says))
    return Length(corrected + probe.compression_mm, probe.compression_mm, probe.sd_mm, tuple(doubts))


def _corrected(
    *,
    measured_mm: Number,
    assumed_velocity_m_s: float,
    eye_state: EyeState,
    lens_thickness_mm: Number | None,
    read: Read,
) -> tuple[Number, list[Doubt]]:
    """The reading under the right velocity [mm], before anything is added back."""
    velocities = read(Velocities)
    if lens_thickness_mm is None:
        aphakic = eye_state == "aphakic"
        velocity = velocities.fluid_velocity_m_s if aphakic else velocities.phakic_velocity_m_s
        found = whole_eye_mm(measured_mm=measured_mm, assumed_velocity_m_s=assumed_velocity_m_s, velocity_m_s=velocity)
        return found, [] if aphakic else [_whole_eye_doubt(eye_state, velocity)]
    if eye_state == "aphakic":
        raise InvalidInput(
            tr("lens_thickness_mm is given for an aphakic eye; leave it out or correct eye_state."),
            field="lens_thickness_mm",
            value=lens_thickness_mm if isinstance(lens_thickness_mm, float | int) else None,
            allowed=tr("nothing in an aphakic eye"),
        )
    dense = eye_state == "dense-cataract"
    found = segmental_mm(
        measured_mm=measured_mm,
        assumed_velocity_m_s=assumed_velocity_m_s,
        lens_thickness_mm=lens_thickness_mm,
        lens_velocity_m_s=read(DenseLens).velocity_m_s if dense else velocities.lens_velocity_m_s,
        fluid_velocity_m_s=velocities.fluid_velocity_m_s,
    )
    return found, []


def _whole_eye_doubt(eye_state: EyeState, velocity: float) -> Doubt:
    if eye_state == "dense-cataract":
        says = tr(
            "Without lens_thickness_mm the dense lens has no velocity of its own: {velocity:g} m/s was used for the"
            " whole eye.",
            velocity=velocity,
        )
    else:
        says = tr(
            "Without lens_thickness_mm one average velocity ({velocity:g} m/s) was used for the whole eye; it is too"
            " slow for a short eye and too fast for a long one.",
            velocity=velocity,
        )
    return Doubt("whole-eye-velocity", says)
