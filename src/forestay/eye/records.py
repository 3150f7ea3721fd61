"""The records of one eye: exactly the sections and keys of the case file, typed, frozen, closed.

Units are in the names. A missing value is ``None`` and means "not known"; nothing is guessed here.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from forestay.eye.quantity import within
from forestay.record import Record

Allergy = str
Connective = Literal["none", "marfan", "homocystinuria", "weill-marchesani", "other"]
Technique = Literal["manual-small-incision", "phacoemulsification", "extracapsular", "intracapsular"]
Anaesthetic = Literal["topical", "sub-tenon", "peribulbar", "retrobulbar", "general"]
Kit = Literal[
    "iris-hooks",
    "capsule-hooks",
    "tension-ring",
    "ring-segment",
    "vitrector",
    "dye",
    "three-piece-lens",
    "anterior-chamber-lens",
]
Appearance = Literal["clear", "nuclear", "brown", "black", "white", "intumescent", "hypermature"]
LengthMethod = Literal["optical", "ultrasound-immersion", "ultrasound-contact"]
ConstantMethod = Literal["optical", "ultrasound-immersion", "ultrasound-contact", "ultrasound"]
Hour = Annotated[float, within("clock")]
FellowComplication = Literal[
    "none",
    "zonular-dialysis",
    "capsule-rupture",
    "vitreous-loss",
    "dropped-nucleus",
    "infection",
    "macular-oedema",
    "detachment",
    "choroidal-haemorrhage",
]
ZonuleGrade = Literal["normal", "weak", "very-weak", "extremely-weak"]
"""How the zonule was graded when the capsule was opened."""


class Person(Record):
    """Who is operated on, without anything that names them."""

    age_years: Annotated[float, within("age_years")]
    sex: Literal["female", "male", "unknown"] | None = Field(default=None, description="sex as recorded")
    weight_kg: Annotated[float, within("weight_kg")] | None = None
    allergies: tuple[Allergy, ...] | None = Field(
        default=None,
        strict=False,
        description="allergies: sulfonamide, cephalosporin, penicillin, iodine, latex and others in words",
    )
    anticoagulant: Literal["none", "warfarin", "direct", "antiplatelet", "dual-antiplatelet"] | None = Field(
        default=None, description="drug that thins the blood"
    )
    inr: Annotated[float, within("inr")] | None = None
    kidney_disease: bool | None = Field(default=None, description="kidney disease")
    liver_disease: bool | None = Field(default=None, description="marked liver disease or cirrhosis")
    heart_disease: bool | None = Field(default=None, description="heart disease")
    diabetes: bool | None = Field(default=None, description="diabetes")
    connective_tissue_disorder: Connective | None = Field(
        default=None, description="disorder of connective tissue that weakens the zonule"
    )
    lies_flat: bool | None = Field(default=None, description="can lie flat and still")


class EyeState(Record):
    """The eye as a whole."""

    side: Literal["left", "right"] = Field(description="which eye")
    only_eye: bool | None = Field(default=None, description="the other eye does not see usefully")
    visual_acuity_logmar: Annotated[float, within("visual_acuity_logmar")] | None = None
    visual_acuity: Literal["CF", "HM", "PL", "NPL"] | None = Field(
        default=None,
        description="acuity in words where it cannot be measured: counting fingers, hand movements, perception of light, none",
    )
    light_projection: Literal["full", "defective", "none", "unknown"] | None = Field(
        default=None, description="projection of light in the dark"
    )
    relative_afferent_defect: bool | None = Field(default=None, description="relative afferent pupil defect")
    pressure_mmhg: Annotated[float, within("pressure_mmhg")] | None = None

    @model_validator(mode="after")
    def _one_acuity(self) -> EyeState:
        if self.visual_acuity is not None and self.visual_acuity_logmar is not None:
            raise ValueError("either visual_acuity_logmar or visual_acuity, not both")
        return self


class Biometry(Record):
    """What was measured of the eye."""

    axial_length_mm: Annotated[float, within("axial_length_mm")] | None = None
    axial_length_method: LengthMethod | None = Field(default=None, description="how the length was measured")
    second_length_mm: Annotated[float, within("second_length_mm")] | None = None
    second_length_method: LengthMethod | None = Field(default=None, description="how the second reading was taken")
    k1_d: Annotated[float, within("k1_d")] | None = None
    k1_axis_deg: Annotated[float, within("k1_axis_deg")] | None = None
    k2_d: Annotated[float, within("k2_d")] | None = None
    k2_axis_deg: Annotated[float, within("k2_axis_deg")] | None = None
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None
    white_to_white_mm: Annotated[float, within("white_to_white_mm")] | None = None
    corneal_thickness_um: Annotated[float, within("corneal_thickness_um")] | None = None
    endothelial_count_per_mm2: Annotated[float, within("endothelial_count_per_mm2")] | None = None
    posterior_segment_scan: Literal["none", "normal", "staphyloma", "detachment", "other"] | None = Field(
        default=None, description="ultrasound of the posterior segment: not done, or what it shows"
    )
    old_refraction_d: Annotated[float, within("old_refraction_d")] | None = None


class FellowEye(Record):
    """The other eye: for consistency, and for what happened there."""

    axial_length_mm: Annotated[float, within("axial_length_mm")] | None = None
    k1_d: Annotated[float, within("k1_d")] | None = None
    k2_d: Annotated[float, within("k2_d")] | None = None
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    refraction_d: Annotated[float, within("refraction_d")] | None = None
    old_refraction_d: Annotated[float, within("old_refraction_d")] | None = None
    lens_power_d: Annotated[float, within("lens_power_d")] | None = None
    operated: bool | None = Field(default=None, description="the fellow eye has had its cataract operation")
    zonular_complication: bool | None = Field(default=None, description="its operation met a zonular complication")
    pseudoexfoliation: bool | None = Field(default=None, description="pseudoexfoliation in the fellow eye")
    phacodonesis: Literal["none", "after-movement", "at-rest"] | None = Field(
        default=None, description="movement of the lens in the fellow eye"
    )
    cataract: bool | None = Field(default=None, description="the fellow eye needs its cataract operation too")
    complication: FellowComplication | None = Field(
        default=None, description="what went wrong in the fellow eye's operation or after it"
    )
    pupil_at_surgery: Literal["wide", "small", "came-down"] | None = Field(
        default=None, description="how the fellow eye's pupil stayed during its operation"
    )
    planned_refraction_d: Annotated[float, within("refraction_d")] | None = None
    days_since_surgery: Annotated[float, within("days_since_surgery")] | None = None


class LensState(Record):
    """The cataract."""

    grade: Annotated[float, within("grade")] | None = None
    appearance: Appearance | None = Field(default=None, description="what the cataract looks like")
    posterior_polar: bool | None = Field(default=None, description="posterior polar cataract")


class Signs(Record):
    """What the examiner saw. ``None`` is "not looked for", not "absent"."""

    pseudoexfoliation: bool | None = Field(default=None, description="pseudoexfoliation material")
    phacodonesis: Literal["none", "after-movement", "at-rest"] | None = Field(
        default=None, description="movement of the lens"
    )
    subluxated: bool | None = Field(default=None, description="lens displaced")
    iridodonesis: bool | None = Field(default=None, description="movement of the iris")
    iris_lens_gap: bool | None = Field(default=None, description="gap between iris and lens")
    dialysis_clock_hours: tuple[Hour, ...] | None = Field(
        default=None, strict=False, description="clock hours of zonule seen to be missing"
    )
    trauma: bool | None = Field(default=None, description="blunt or other injury")
    vitrectomy: bool | None = Field(default=None, description="earlier vitrectomy")
    pupil_dilated_mm: Annotated[float, within("pupil_dilated_mm")] | None = None
    synechiae: bool | None = Field(default=None, description="iris adherent to the lens")
    alpha_blocker: bool | None = Field(default=None, description="alpha-blocker now or ever")
    glaucoma: bool | None = Field(default=None, description="glaucoma")
    filtering_bleb: bool | None = Field(default=None, description="working filtering bleb")
    corneal_opacity: bool | None = Field(default=None, description="corneal opacity")
    guttae: bool | None = Field(default=None, description="corneal guttae")
    retinopathy: Literal["none", "background", "proliferative"] | None = Field(
        default=None, description="diabetic retinopathy"
    )
    fundus_view: bool | None = Field(default=None, description="the fundus can be seen")
    external_infection: bool | None = Field(default=None, description="infection of lids, tear sac or surface")


class Surgery(Record):
    """What the eye showed once it was open. ``None`` is "not come to yet", or not noted."""

    puncture: Literal["smooth", "folds"] | None = Field(
        default=None, description="the capsule at its first puncture: opened smoothly, or in radial folds"
    )
    lens_travel_mm: Annotated[float, within("lens_travel_mm")] | None = None
    equator_seen: bool | None = Field(default=None, description="the edge of the lens comes into view")
    bag_follows: bool | None = Field(default=None, description="the whole bag comes along with the nucleus")
    zonule_grade: ZonuleGrade | None = Field(
        default=None, description="grade of the zonule, given when the capsule was opened"
    )


TRAINEES = ("senior-trainee", "junior-trainee")
"""Grades of surgeons who operate under supervision."""


class Theatre(Record):
    """What can be done here, by whom, with what."""

    techniques: tuple[Technique, ...] | None = Field(
        default=None, strict=False, description="techniques that can be done here"
    )
    anaesthesia: tuple[Anaesthetic, ...] | None = Field(
        default=None, strict=False, description="anaesthetics that can be given here"
    )
    surgeon_grade: Literal["consultant", "independent", "senior-trainee", "junior-trainee"] | None = Field(
        default=None, description="grade of the surgeon"
    )
    seat: Literal["superior", "temporal"] | None = Field(default=None, description="where the surgeon sits")
    dominant_hand: Literal["right", "left"] | None = Field(default=None, description="the surgeon's dominant hand")
    has: tuple[Kit, ...] | None = Field(default=None, strict=False, description="what the theatre has")
    retina_service: Literal["in-house", "same-day", "days", "none"] | None = Field(
        default=None, description="how near a vitreous surgeon is"
    )


class LensConstant(Record):
    """The lens constant and the length method that it belongs to."""

    a: Annotated[float, Field(ge=100, le=130, description="A constant")] | None = None
    method: ConstantMethod | None = Field(default=None, description="length method that the constant belongs to")


class Target(Record):
    """What is aimed at."""

    refraction_d: Annotated[float, within("target_d")] | None = None
    accept_from_d: Annotated[float, within("accept_d")] | None = None
    accept_to_d: Annotated[float, within("accept_d")] | None = None
    refuse_above_d: Annotated[float, within("accept_d")] | None = None
    lens_constant: LensConstant | None = None
    length_adjustment: Literal["none", "linear-2011", "linear-2018", "segments"] | None = Field(
        default=None, description="adjustment of a long eye's length before the power formula, chosen by name"
    )

    @model_validator(mode="after")
    def _both_ends(self) -> Target:
        if (self.accept_from_d is None) != (self.accept_to_d is None):
            raise ValueError("accept_from_d and accept_to_d belong together")
        if self.accept_from_d is not None and self.accept_to_d is not None and self.accept_from_d >= self.accept_to_d:
            raise ValueError("accept_from_d must be the more myopic")
        return self


class CaseFile(Record):
    """One eye before surgery, as written down: the whole case file."""

    person: Person
    eye: EyeState
    biometry: Biometry = Biometry()
    fellow: FellowEye = FellowEye()
    lens: LensState = LensState()
    signs: Signs = Signs()
    surgery: Surgery = Surgery()
    theatre: Theatre = Theatre()
    target: Target = Target()
