"""What is worked out of this eye before any technique is considered: length, nucleus, bag, zonule, chamber, pupil.

Each estimate is ``None`` where its input is lacking, and ``lacks`` then names the input. Everything is in the working
frame (a right eye's). Cheap closed forms run on the common draws.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from forestay.answer import Doubt
from forestay.calc.zonule import find
from forestay.calc.zonule_input import OwnRatio, ZonularSupportInput
from forestay.evidence import EvidenceSet, Reader
from forestay.eye.records import CaseFile, FellowEye
from forestay.eye.view import mean_k_d
from forestay.mechanics import bag_size, chamber, nucleus
from forestay.mechanics.bag_size import BagSizeConstants
from forestay.mechanics.chamber import ChamberConstants
from forestay.mechanics.nucleus import NucleusConstants
from forestay.plan.draws import Draws
from forestay.plan.spread import Spread
from forestay.risk.zonule import GRADES, ZonularEstimate, support_draws
from forestay.text import once_per_language, tr

Floats = NDArray[np.float64]
LENGTH_SD = {
    "optical": "lens_error.optical_length_sd_mm",
    "ultrasound-immersion": "ultrasound.immersion.sd_mm",
    "ultrasound-contact": "ultrasound.contact.sd_mm",
}
"""The row that gives one standard deviation of a length, by its method."""


@dataclass(frozen=True)
class Estimates:
    """All estimates of one eye, in the working frame."""

    length: Spread | None
    k_mean: Spread | None
    nucleus_diameter: Spread
    nucleus_thickness: Spread
    bag_diameter: Spread
    chamber_depth: Spread | None
    ovd_gain: Spread
    corneal_thickness_um: float
    room: Spread | None
    needed_to_tip: Spread
    pupil: Spread | None
    zonule: ZonularEstimate
    support: Floats
    """Share of healthy support, (12, n)."""
    gap_hours: tuple[float, ...]
    weak_probability: float
    grade: str
    doubts: tuple[Doubt, ...] = ()
    lacks: dict[str, tuple[str, ...]] = field(default_factory=dict)

    @cached_property
    def support_mean(self) -> Floats:
        """Mean share of healthy support by clock hour, 12, 1 ... 11."""
        return np.asarray(self.zonule.mean, dtype=np.float64)

    @cached_property
    def support_hours(self) -> Spread:
        """Healthy-equivalent clock hours of zonule: the sum of the shares."""
        return Spread(float(self.support_mean.sum()), self.support.sum(axis=0))

    def is_weak(self, use: Reader) -> bool:
        """Whether support is prepared: a weak zonule is at least as likely as the evidence row asks."""
        return self.weak_probability >= use.number("act.weak_probability")


def estimate(case: CaseFile, draws: Draws, use: Reader, own_ratios: tuple[OwnRatio, ...] = ()) -> Estimates:
    """All estimates of ``case`` (in the working frame) on the common draws, with the practice's own ratios of signs."""
    doubts: list[Doubt] = []
    length = _length(case, draws, use, doubts)
    k_mean = _k_mean(case, draws, use)
    diameter, thickness = _nucleus(case, draws, use, doubts)
    zonule, _, zonule_doubts = find(zonule_input(case, own_ratios), use)
    doubts.extend(zonule_doubts)
    support = support_draws(zonule, level_z=draws.normal("zonule level"), hour_z=draws.by_hour("zonule hour"))
    support.setflags(write=False)
    depth = _chamber_depth(case, draws, use)
    gain = Spread.normal(
        use.number("chamber.ovd_gain_mm"), use.number("chamber.ovd_gain_sd_mm"), draws.normal("ovd gain")
    )
    cornea_um = _cornea(case, use, doubts)
    constants = use.constants(ChamberConstants)
    return Estimates(
        length=length,
        k_mean=k_mean,
        nucleus_diameter=diameter,
        nucleus_thickness=thickness,
        bag_diameter=_bag(length, k_mean, draws, use, doubts),
        chamber_depth=depth,
        ovd_gain=gain,
        corneal_thickness_um=cornea_um,
        room=_room(depth, cornea_um, gain),
        needed_to_tip=_needed(diameter, thickness, constants),
        pupil=_pupil(case, draws, use),
        zonule=zonule,
        support=support,
        gap_hours=tuple(sorted(case.signs.dialysis_clock_hours or ())),
        weak_probability=1.0 - zonule.probabilities[0],
        grade=max(zip(zonule.probabilities, GRADES, strict=True))[1],
        doubts=tuple(doubts),
        lacks=_lacks(case),
    )


@once_per_language
def kept_estimate(
    case: CaseFile, draws: Draws, ratios: tuple[OwnRatio, ...], evidence: EvidenceSet
) -> tuple[Estimates, Reader]:
    """:func:`estimate` and the rows read for it, once for each eye: most controls of the page leave the eye as it is."""
    rows = evidence.reader()
    return estimate(case, draws, rows, ratios), rows


def zonule_input(case: CaseFile, own_ratios: tuple[OwnRatio, ...] = ()) -> ZonularSupportInput:
    """The signs of the case as the calculation ``zonular-support`` takes them."""
    fellow = case.fellow
    return ZonularSupportInput(
        **dict(case.signs),
        **dict(case.surgery),
        **dict(case.person),
        side=case.eye.side,
        chamber_depth_mm=case.biometry.chamber_depth_mm,
        axial_length_mm=case.biometry.axial_length_mm,
        appearance=case.lens.appearance,
        fellow_operated=fellow.operated,
        fellow_zonular_complication=_fellow_gave_way(fellow),
        fellow_pseudoexfoliation=fellow.pseudoexfoliation,
        fellow_cataract=fellow.cataract,
        fellow_chamber_depth_mm=fellow.chamber_depth_mm,
        own_ratios=own_ratios,
    )


def _fellow_gave_way(fellow: FellowEye) -> bool | None:
    """Whether the fellow eye's zonule gave way, by either field; a known complication of another kind says no."""
    if fellow.zonular_complication is not None:
        return fellow.zonular_complication
    return None if fellow.complication is None else fellow.complication == "zonular-dialysis"


def _length(case: CaseFile, draws: Draws, use: Reader, doubts: list[Doubt]) -> Spread | None:
    """Axial length [mm] as the lens constant takes it, with the spread of its method."""
    b = case.biometry
    if b.axial_length_mm is None:
        return None
    method = b.axial_length_method
    if method is None:
        doubts.append(
            Doubt("length-method-unknown", tr("How the length was measured is not said; taken as contact ultrasound."))
        )
        method = "ultrasound-contact"
    sd = use.number(LENGTH_SD[method])
    constant = case.target.lens_constant
    to = constant.method if constant else None
    centre = b.axial_length_mm
    if method == "ultrasound-contact" and to != "ultrasound-contact":
        compression = use.number("ultrasound.contact.compression_mm")
        centre += compression
        doubts.append(
            Doubt(
                "contact-compression",
                tr("{mm:.2f} mm were added for the pressure of the contact probe, once.", mm=compression),
            )
        )
    return Spread.normal(centre, sd, draws.normal("axial length"))


def _k_mean(case: CaseFile, draws: Draws, use: Reader) -> Spread | None:
    """Mean corneal power [D]."""
    k = mean_k_d(case.biometry.k1_d, case.biometry.k2_d)
    if k is None:
        return None
    optical = case.biometry.axial_length_method == "optical"
    return Spread.normal(
        k, use.number("lens_error.optical_k_sd_d" if optical else "lens_error.ultrasound_k_sd_d"), draws.normal("k")
    )


def _nucleus(case: CaseFile, draws: Draws, use: Reader, doubts: list[Doubt]) -> tuple[Spread, Spread]:
    """Diameter and thickness of the hard nucleus [mm]."""
    constants = use.constants(NucleusConstants)
    grade = case.lens.grade
    if grade is None:
        doubts.append(
            Doubt("grade-unknown", tr("Hardness was not graded; the nucleus is taken as average, widely spread."))
        )
    size = nucleus.nucleus_size(
        grade=constants.mean_grade if grade is None else grade,
        appearance=case.lens.appearance,
        lens_thickness_mm=case.biometry.lens_thickness_mm,
        constants=constants,
    )
    doubts.extend(size.doubts)
    diameter_sd = constants.diameter_sd_mm if grade is None else float(size.diameter_sd_mm)
    thickness_sd = constants.thickness_sd_mm if grade is None else float(size.thickness_sd_mm)
    diameter = Spread.normal(float(size.diameter_mm), diameter_sd, draws.normal("nucleus diameter"))
    thickness = Spread.normal(float(size.thickness_mm), thickness_sd, draws.normal("nucleus thickness"))
    least = 1.0
    return (
        Spread(diameter.centre, np.maximum(diameter.draws, least)),
        Spread(thickness.centre, np.maximum(thickness.draws, least / 2)),
    )


def _bag(length: Spread | None, k_mean: Spread | None, draws: Draws, use: Reader, doubts: list[Doubt]) -> Spread:
    """Diameter of the empty bag [mm], from length and K; the published mean where they lack."""
    z = draws.normal("bag diameter")
    if length is None or k_mean is None:
        doubts.append(Doubt("bag-size-average", tr("Length or K is lacking; the bag is taken as average.")))
        return Spread.normal(use.number("anatomy.bag_diameter_mm"), use.sd("anatomy.bag_diameter_mm"), z)
    constants = use.constants(BagSizeConstants)
    given = {"axial_length_mm": length.centre, "k_mean_d": k_mean.centre, "constants": constants}
    centre = float(bag_size.bag_diameter_mm(**given))  # type: ignore[arg-type]
    return Spread.normal(centre, float(bag_size.bag_diameter_sd_mm(**given)), z)  # type: ignore[arg-type]


def _chamber_depth(case: CaseFile, draws: Draws, use: Reader) -> Spread | None:
    depth = case.biometry.chamber_depth_mm
    return None if depth is None else Spread.normal(depth, use.number("spread.chamber_mm"), draws.normal("chamber"))


def _cornea(case: CaseFile, use: Reader, doubts: list[Doubt]) -> float:
    measured = case.biometry.corneal_thickness_um
    if measured is not None:
        return measured
    usual = use.number("anatomy.corneal_thickness_um")
    doubts.append(
        Doubt("cornea-average", tr("Corneal thickness is not known; {um:.0f} micrometres were taken.", um=usual))
    )
    return usual


def _room(depth: Spread | None, cornea_um: float, gain: Spread) -> Spread | None:
    """Room behind the cornea under OVD [mm]."""
    if depth is None:
        return None

    def room(depth_mm: float | Floats, gain_mm: float | Floats) -> float | Floats:
        return chamber.room_mm(chamber_depth_mm=depth_mm, corneal_thickness_um=cornea_um, ovd_gain_mm=gain_mm)

    return Spread(float(room(depth.centre, gain.centre)), np.asarray(room(depth.draws, np.maximum(gain.draws, 0.0))))


def _needed(diameter: Spread, thickness: Spread, constants: ChamberConstants) -> Spread:
    """Room that tipping the nucleus needs [mm]."""
    centre = chamber.needed_to_tip_mm(
        nucleus_diameter_mm=diameter.centre, nucleus_thickness_mm=thickness.centre, constants=constants
    )
    draws = chamber.needed_to_tip_mm(
        nucleus_diameter_mm=diameter.draws, nucleus_thickness_mm=thickness.draws, constants=constants
    )
    return Spread(float(centre), np.asarray(draws))


def _pupil(case: CaseFile, draws: Draws, use: Reader) -> Spread | None:
    measured = case.signs.pupil_dilated_mm
    if measured is None:
        return None
    spread = Spread.normal(measured, use.number("spread.pupil_mm"), draws.normal("pupil"))
    return Spread(spread.centre, np.maximum(spread.draws, measured / 4))


def _lacks(case: CaseFile) -> dict[str, tuple[str, ...]]:
    """Which margins lack which inputs."""
    b = case.biometry
    return {
        "pupil": _absent({"signs.pupil_dilated_mm": case.signs.pupil_dilated_mm}),
        "chamber": _absent({"biometry.chamber_depth_mm": b.chamber_depth_mm}),
        "cornea": _absent({"biometry.endothelial_count_per_mm2": b.endothelial_count_per_mm2}),
        "refraction": _absent(
            {
                "biometry.axial_length_mm": b.axial_length_mm,
                "biometry.k1_d": b.k1_d,
                "biometry.k2_d": b.k2_d,
                "target.lens_constant.a": case.target.lens_constant.a if case.target.lens_constant else None,
            }
        ),
    }


def _absent(values: dict[str, float | None]) -> tuple[str, ...]:
    return tuple(name for name, value in values.items() if value is None)
