"""Calculations of sizes: nucleus, capsulorhexis, chamber, bag and ring here; pupil and tunnel beside in ``opening``."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.opening import pupil_calculation, tunnel_calculation
from forestay.calc.watch import watched
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import Appearance
from forestay.mechanics import bag_size as bag
from forestay.mechanics import capsulorhexis as rhexis
from forestay.mechanics import chamber, nucleus, ring
from forestay.record import Record
from forestay.text import tr

NucleusDiameter = Annotated[float, within("nucleus_diameter_mm")]
NucleusThickness = Annotated[float, within("nucleus_thickness_mm")]


class NucleusInput(Record):
    """The cataract as seen."""

    grade: Annotated[float, within("grade")]
    appearance: Annotated[Appearance, Field(description="what the lens looks like")] | None = None
    age_years: Annotated[float, within("age_years")] | None = None
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None


class NucleusOutput(Record):
    """Size of the hard nucleus, each with one standard deviation."""

    diameter_mm: Annotated[float, Field(description="diameter of the hard nucleus")]
    diameter_sd_mm: Annotated[float, Field(description="one standard deviation of the diameter")]
    thickness_mm: Annotated[float, Field(description="central thickness of the hard nucleus")]
    thickness_sd_mm: Annotated[float, Field(description="one standard deviation of the thickness")]


@calculation(
    "nucleus",
    summary="Diameter and thickness of the hard nucleus, from its hardness",
    formula="mean + r SD z, z = (grade - 3) / 1; spread SD sqrt(1 - r^2)",
    valid="130 nuclei of extracapsular surgery, over 40 years; no relation to age",
    input=NucleusInput,
    output=NucleusOutput,
    example={"grade": 4, "appearance": "brown", "age_years": 74, "lens_thickness_mm": 4.85},
)
def nucleus_calculation(given: NucleusInput, use: Reader) -> tuple[NucleusOutput, list[Doubt]]:
    """Size of the nucleus; age is read and changes nothing, since nuclei showed no relation to it."""
    size = nucleus.nucleus_size(
        grade=given.grade,
        appearance=given.appearance,
        lens_thickness_mm=given.lens_thickness_mm,
        constants=watched(use, nucleus.NucleusConstants),
    )
    doubts = list(size.doubts)
    if given.appearance is None:
        doubts.append(Doubt("assumed-appearance", tr("The lens's appearance was not given: neither white nor black.")))
    return (
        NucleusOutput(
            diameter_mm=float(size.diameter_mm),
            diameter_sd_mm=float(size.diameter_sd_mm),
            thickness_mm=float(size.thickness_mm),
            thickness_sd_mm=float(size.thickness_sd_mm),
        ),
        doubts,
    )


class CapsulorhexisInput(Record):
    """Nucleus and opening."""

    nucleus_diameter_mm: NucleusDiameter
    nucleus_thickness_mm: NucleusThickness
    diameter_mm: Annotated[float, within("diameter_mm")]
    tolerated_stretch: Annotated[float, within("tolerated_stretch")] | None = None


class CapsulorhexisOutput(Record):
    """Stretch of the rim and least openings, lying flat and tipped on the edge."""

    stretch_flat: Annotated[
        float, Field(description="stretch of the rim when the nucleus passes flat; 1 or less: none")
    ]
    stretch_tipped: Annotated[float, Field(description="stretch of the rim when it passes tipped on its edge")]
    minimum_flat_mm: Annotated[float, Field(description="least opening for the flat way")]
    minimum_tipped_mm: Annotated[float, Field(description="least opening for the tipped way")]
    tolerated_stretch: Annotated[float, Field(description="stretch that the least openings rest on")]


@calculation(
    "capsulorhexis",
    summary="Will the nucleus pass the capsulorhexis, flat or tipped on its edge",
    formula="flat D / d; tipped P / (pi d), P the perimeter of an ellipse D x T; least openings D / s and P / (pi s)",
    valid="round continuous openings; an ellipsoid nucleus without its soft shell; tipping needs room in the chamber",
    input=CapsulorhexisInput,
    output=CapsulorhexisOutput,
    example={"nucleus_diameter_mm": 7.13, "nucleus_thickness_mm": 3.05, "diameter_mm": 5.5, "tolerated_stretch": 1.2},
)
def capsulorhexis_calculation(given: CapsulorhexisInput, use: Reader) -> tuple[CapsulorhexisOutput, list[Doubt]]:
    """Stretch of the rim in both ways out, and the least opening for each at the tolerated stretch."""
    stretch, doubts = _tolerated(given.tolerated_stretch, use)
    limits = watched(use, rhexis.CapsulorhexisConstants)
    wide, thick = given.nucleus_diameter_mm, given.nucleus_thickness_mm
    flat = float(rhexis.stretch_flat(nucleus_diameter_mm=wide, capsulorhexis_mm=given.diameter_mm))
    tipped = float(
        rhexis.stretch_tipped(nucleus_diameter_mm=wide, nucleus_thickness_mm=thick, capsulorhexis_mm=given.diameter_mm)
    )
    doubts += _tears(stretch, flat, tipped, limits)
    if thick > wide:
        doubts.append(_thicker_than_wide())
    output = CapsulorhexisOutput(
        stretch_flat=flat,
        stretch_tipped=tipped,
        minimum_flat_mm=float(rhexis.minimum_flat_mm(nucleus_diameter_mm=wide, tolerated_stretch=stretch)),
        minimum_tipped_mm=float(
            rhexis.minimum_tipped_mm(nucleus_diameter_mm=wide, nucleus_thickness_mm=thick, tolerated_stretch=stretch)
        ),
        tolerated_stretch=stretch,
    )
    return output, doubts


def _tolerated(given: float | None, use: Reader) -> tuple[float, list[Doubt]]:
    if given is not None:
        return given, []
    sound, weak = use.number("size.stretch_sound"), use.number("size.stretch_weak")
    message = tr(
        "The tolerated stretch was not given: {sound:g} was taken; where the zonule is weak plan with {weak:g} or "
        "less, since there the fibres pay before the rim does.",
        sound=sound,
        weak=weak,
    )
    return sound, [Doubt("assumed-stretch", message)]


def _tears(stretch: float, flat: float, tipped: float, limits: rhexis.CapsulorhexisConstants) -> list[Doubt]:
    doubts = [
        Doubt(
            "shell-not-counted",
            tr(
                "The soft shell and an opening off centre are not counted: "
                "add about {more:g} mm to the least openings.",
                more=limits.clearance_mm,
            ),
        )
    ]
    if stretch > limits.lowest_tear_stretch:
        words = tr(
            "The tolerated stretch is above {lowest:g}, at which the weakest tested rims tore (human mean {mean:g}).",
            lowest=limits.lowest_tear_stretch,
            mean=limits.mean_tear_stretch,
        )
        doubts.append(Doubt("stretch-beyond-tests", words))
    if min(flat, tipped) > limits.mean_tear_stretch:
        words = tr("Either way stretches the rim beyond {mean:g}, where rims tear.", mean=limits.mean_tear_stretch)
        doubts.append(Doubt("rim-tears", words))
    return doubts


def _thicker_than_wide() -> Doubt:
    return Doubt("thicker-than-wide", tr("The nucleus is thicker than wide: are the two values swapped?"))


class ChamberInput(Record):
    """Nucleus and chamber."""

    nucleus_diameter_mm: NucleusDiameter
    nucleus_thickness_mm: NucleusThickness
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")]
    corneal_thickness_um: Annotated[float, within("corneal_thickness_um")] | None = None
    ovd_gain_mm: Annotated[float, within("ovd_gain_mm")] | None = None


class ChamberOutput(Record):
    """Room in the filled chamber, and what tipping needs."""

    room_mm: Annotated[float, Field(description="room between cornea and lens once the chamber is filled")]
    can_tip: Annotated[bool, Field(description="whether the nucleus has room to tip on its edge")]
    needed_mm: Annotated[float, Field(description="room that tipping needs")]


@calculation(
    "chamber",
    summary="Is there room in the chamber to tip the nucleus on its edge",
    formula="room = depth - cornea / 1000 + gain by OVD; needed = max(D / 2 + 0.45, T)",
    valid="nuclei 7.1 to 8.7 mm wide, 3.0 to 4.0 mm thick; an ellipsoid through a round opening",
    input=ChamberInput,
    output=ChamberOutput,
    example={
        "nucleus_diameter_mm": 7.43,
        "nucleus_thickness_mm": 3.28,
        "chamber_depth_mm": 2.55,
        "corneal_thickness_um": 535,
        "ovd_gain_mm": 0.9,
    },
)
def chamber_calculation(given: ChamberInput, use: Reader) -> tuple[ChamberOutput, list[Doubt]]:
    """Room once the chamber is filled, against the room that tipping needs."""
    constants = watched(use, chamber.ChamberConstants)
    doubts: list[Doubt] = []
    cornea, gain = given.corneal_thickness_um, given.ovd_gain_mm
    if cornea is None:
        cornea = use.number("anatomy.corneal_thickness_um")
        words = tr("The cornea's thickness was not given: the average, {value:g} micrometres, was taken.", value=cornea)
        doubts.append(Doubt("assumed-corneal-thickness", words))
    if gain is None:
        gain = constants.ovd_gain_mm
        words = tr("The deepening by viscosurgical device was not given: {value:g} mm was taken.", value=gain)
        doubts.append(Doubt("assumed-ovd-gain", words))
    room = float(
        chamber.room_mm(chamber_depth_mm=given.chamber_depth_mm, corneal_thickness_um=cornea, ovd_gain_mm=gain)
    )
    needed = float(
        chamber.needed_to_tip_mm(
            nucleus_diameter_mm=given.nucleus_diameter_mm,
            nucleus_thickness_mm=given.nucleus_thickness_mm,
            constants=constants,
        )
    )
    if given.nucleus_thickness_mm > given.nucleus_diameter_mm:
        doubts.append(_thicker_than_wide())
    return ChamberOutput(room_mm=room, can_tip=room >= needed, needed_mm=needed), doubts


class BagDiameterInput(Record):
    """Length and corneal power."""

    axial_length_mm: Annotated[float, within("axial_length_mm")]
    k_mean_d: Annotated[float, within("k_mean_d")]


class BagDiameterOutput(Record):
    """Diameter of the emptied bag with one standard deviation."""

    diameter_mm: Annotated[float, Field(description="diameter of the emptied bag with an open ring in it")]
    sd_mm: Annotated[float, Field(description="one standard deviation")]


@calculation(
    "bag-diameter",
    summary="Diameter of the capsular bag, from axial length and corneal power",
    formula="3.44 - 0.056 K + 0.713 L - 0.0135 L^2",
    valid="70 eyes with an open ring in the bag; lengths of 20 to 27 mm",
    input=BagDiameterInput,
    output=BagDiameterOutput,
    example={"axial_length_mm": 23.5, "k_mean_d": 43.5},
)
def bag_diameter_calculation(given: BagDiameterInput, use: Reader) -> tuple[BagDiameterOutput, list[Doubt]]:
    """The published regression, with a wider spread outside the lengths where it may be believed."""
    constants = use.constants(bag.BagSizeConstants)
    length, power = given.axial_length_mm, given.k_mean_d
    output = BagDiameterOutput(
        diameter_mm=float(bag.bag_diameter_mm(axial_length_mm=length, k_mean_d=power, constants=constants)),
        sd_mm=float(bag.bag_diameter_sd_mm(axial_length_mm=length, k_mean_d=power, constants=constants)),
    )
    if constants.shortest_eye_mm <= length <= constants.longest_eye_mm:
        return output, []
    message = tr(
        "An eye of {length:g} mm is outside the {low:g} to {high:g} mm where this regression may be believed (its "
        "quadratic bends down in long eyes); the spread was widened.",
        length=length,
        low=constants.shortest_eye_mm,
        high=constants.longest_eye_mm,
    )
    return output, [Doubt("outside-studied-range", message)]


class RingForceInput(Record):
    """Ring and bag."""

    free_diameter_mm: Annotated[float, within("free_diameter_mm")]
    closed_diameter_mm: Annotated[float, within("closed_diameter_mm")] | None = None
    bag_diameter_mm: Annotated[float, within("bag_diameter_mm")]
    spring_mn_per_mm: Annotated[float, within("spring_mn_per_mm")]


class RingForceOutput(Record):
    """The ring's push, and the overlap of its ends (negative: a gap)."""

    force_mn: Annotated[float, Field(description="the ring's push by the linear law")]
    overlap_mm: Annotated[
        float | None, Field(description="overlap of its ends along the equator; negative: a gap; null if unknown")
    ]


@calculation(
    "ring-force",
    summary="Push of an open ring in the bag, and the overlap of its ends",
    formula="force k (free - bag); overlap pi (closed - bag)",
    valid="linear law of 14 ring models, 0.8162 to 4.5501 mN/mm; a round equator",
    input=RingForceInput,
    output=RingForceOutput,
    example={"free_diameter_mm": 13.0, "closed_diameter_mm": 11.0, "bag_diameter_mm": 10.2, "spring_mn_per_mm": 0.8162},
)
def ring_force_calculation(given: RingForceInput, use: Reader) -> tuple[RingForceOutput, list[Doubt]]:
    """Force by the linear law, overlap from the closed diameter, and what each leaves out."""
    overlap: float | None = None
    if given.closed_diameter_mm is not None:
        ring.require_closing(free_diameter_mm=given.free_diameter_mm, closed_diameter_mm=given.closed_diameter_mm)
        overlap = float(
            ring.overlap_mm(closed_diameter_mm=given.closed_diameter_mm, bag_diameter_mm=given.bag_diameter_mm)
        )
    force = float(
        ring.force_mn(
            free_diameter_mm=given.free_diameter_mm,
            bag_diameter_mm=given.bag_diameter_mm,
            spring_mn_per_mm=given.spring_mn_per_mm,
        )
    )
    return RingForceOutput(force_mn=force, overlap_mm=overlap), _ring_doubts(given, overlap, use)


def _ring_doubts(given: RingForceInput, overlap: float | None, use: Reader) -> list[Doubt]:
    constants = watched(use, ring.RingConstants)
    words = tr(
        "The law is linear; a thin ring softens when squeezed far ({share:.0%} of it at {squeeze:g} mm), so the force "
        "is an upper figure.",
        share=constants.softened_share,
        squeeze=constants.softened_squeeze_mm,
    )
    doubts = [Doubt("ring-softens", words)]
    low, high = constants.softest_mn_per_mm, constants.stiffest_mn_per_mm
    if not low <= given.spring_mn_per_mm <= high:
        words = tr("Rings were measured from {low:g} to {high:g} mN/mm; this one is outside.", low=low, high=high)
        doubts.append(Doubt("outside-studied-range", words))
    if given.bag_diameter_mm >= given.free_diameter_mm:
        doubts.append(
            Doubt("ring-loose", tr("The bag is as wide as the free ring or wider: the ring lies loose in it."))
        )
    if overlap is None:
        words = tr("The diameter at which the ends meet was not given, so their overlap is not known.")
        doubts.append(Doubt("overlap-unknown", words))
    elif overlap < 0:
        doubts.append(Doubt("ring-gapes", tr("The ends do not meet in this bag: a larger ring is needed to close it.")))
    return doubts


CALCULATIONS = (
    nucleus_calculation,
    capsulorhexis_calculation,
    chamber_calculation,
    bag_diameter_calculation,
    ring_force_calculation,
    pupil_calculation,
    tunnel_calculation,
)
