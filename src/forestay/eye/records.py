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


class Person(Record):
    """Who is operated on, without anything that names them."""

    age_years: Annotated[float, within("age_years")]
    sex: Literal["female", "male", "unknown"] | None = None
    weight_kg: Annotated[float, within("weight_kg")] | None = None
    allergies: tuple[Allergy, ...] | None = Field(default=None, strict=False)
    anticoagulant: Literal["none", "warfarin", "direct", "antiplatelet", "dual-antiplatelet"] | None = None
    inr: Annotated[float, within("inr")] | None = None
    kidney_disease: bool | None = None
    heart_disease: bool | None = None
    diabetes: bool | None = None
    connective_tissue_disorder: Connective | None = None
    lies_flat: bool | None = None


class EyeState(Record):
    """The eye as a whole."""

    side: Literal["left", "right"]
    only_eye: bool | None = None
    visual_acuity_logmar: Annotated[float, within("visual_acuity_logmar")] | None = None
    visual_acuity: Literal["CF", "HM", "PL", "NPL"] | None = None
    light_projection: Literal["full", "defective", "none", "unknown"] | None = None
    relative_afferent_defect: bool | None = None
    pressure_mmhg: Annotated[float, within("pressure_mmhg")] | None = None

    @model_validator(mode="after")
    def _one_acuity(self) -> EyeState:
        if self.visual_acuity is not None and self.visual_acuity_logmar is not None:
            raise ValueError("either visual_acuity_logmar or visual_acuity, not both")
        return self


class Biometry(Record):
    """What was measured of the eye."""

    axial_length_mm: Annotated[float, within("axial_length_mm")] | None = None
    axial_length_method: LengthMethod | None = None
    k1_d: Annotated[float, within("k1_d")] | None = None
    k1_axis_deg: Annotated[float, within("k1_axis_deg")] | None = None
    k2_d: Annotated[float, within("k2_d")] | None = None
    k2_axis_deg: Annotated[float, within("k2_axis_deg")] | None = None
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None
    white_to_white_mm: Annotated[float, within("white_to_white_mm")] | None = None
    corneal_thickness_um: Annotated[float, within("corneal_thickness_um")] | None = None
    endothelial_count_per_mm2: Annotated[float, within("endothelial_count_per_mm2")] | None = None
    posterior_segment_scan: Literal["none", "normal", "staphyloma", "detachment", "other"] | None = None


class FellowEye(Record):
    """The other eye: for consistency, and for what happened there."""

    axial_length_mm: Annotated[float, within("axial_length_mm")] | None = None
    k1_d: Annotated[float, within("k1_d")] | None = None
    k2_d: Annotated[float, within("k2_d")] | None = None
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    refraction_d: Annotated[float, within("refraction_d")] | None = None
    operated: bool | None = None
    zonular_complication: bool | None = None
    pseudoexfoliation: bool | None = None


class LensState(Record):
    """The cataract."""

    grade: Annotated[float, within("grade")] | None = None
    appearance: Appearance | None = None
    posterior_polar: bool | None = None


class Signs(Record):
    """What the examiner saw. ``None`` is "not looked for", not "absent"."""

    pseudoexfoliation: bool | None = None
    phacodonesis: Literal["none", "after-movement", "at-rest"] | None = None
    subluxated: bool | None = None
    iridodonesis: bool | None = None
    iris_lens_gap: bool | None = None
    dialysis_clock_hours: tuple[Hour, ...] | None = Field(default=None, strict=False)
    trauma: bool | None = None
    vitrectomy: bool | None = None
    pupil_dilated_mm: Annotated[float, within("pupil_dilated_mm")] | None = None
    synechiae: bool | None = None
    alpha_blocker: bool | None = None
    glaucoma: bool | None = None
    filtering_bleb: bool | None = None
    corneal_opacity: bool | None = None
    guttae: bool | None = None
    retinopathy: Literal["none", "background", "proliferative"] | None = None
    fundus_view: bool | None = None
    external_infection: bool | None = None


class Theatre(Record):
    """What can be done here, by whom, with what."""

    techniques: tuple[Technique, ...] | None = Field(default=None, strict=False)
    anaesthesia: tuple[Anaesthetic, ...] | None = Field(default=None, strict=False)
    surgeon_grade: Literal["consultant", "independent", "senior-trainee", "junior-trainee"] | None = None
    seat: Literal["superior", "temporal"] | None = None
    dominant_hand: Literal["right", "left"] | None = None
    has: tuple[Kit, ...] | None = Field(default=None, strict=False)
    retina_service: Literal["in-house", "same-day", "days", "none"] | None = None


class LensConstant(Record):
    """The lens constant and the length method that it belongs to."""

    a: Annotated[float, Field(ge=100, le=130, description="A constant")] | None = None
    method: ConstantMethod | None = None


class Target(Record):
    """What is aimed at."""

    refraction_d: Annotated[float, within("target_d")] | None = None
    lens_constant: LensConstant | None = None


class CaseFile(Record):
    """One eye before surgery, as written down: the whole case file."""

    person: Person
    eye: EyeState
    biometry: Biometry = Biometry()
    fellow: FellowEye = FellowEye()
    lens: LensState = LensState()
    signs: Signs = Signs()
    theatre: Theatre = Theatre()
    target: Target = Target()
