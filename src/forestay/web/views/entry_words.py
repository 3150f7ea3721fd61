"""What the fields and sections of a form are called. Tables only."""

from __future__ import annotations

from forestay.case.vocabulary import choices, things
from forestay.text import field_words, tr


def section_titles() -> dict[str, str]:
    """Title of each section of the case file."""
    return {
        "person": tr("Person"),
        "eye": tr("Eye"),
        "biometry": tr("Measurements"),
        "fellow": tr("Fellow eye"),
        "lens": tr("Natural lens"),
        "signs": tr("Signs"),
        "surgery": tr("Seen during the operation"),
        "theatre": tr("Theatre"),
        "target": tr("Aim"),
    }


def short_labels() -> dict[str, str]:
    """Short names of fields whose meaning takes a sentence; the sentence stands beside as help."""
    return {
        "person.age_years": tr("Age"),
        "person.sex": tr("Sex"),
        "person.weight_kg": tr("Weight"),
        "person.allergies": tr("Allergies"),
        "person.anticoagulant": tr("Anticoagulant"),
        "person.inr": tr("INR"),
        "person.connective_tissue_disorder": tr("Connective tissue disorder"),
        "person.lies_flat": tr("Lies flat"),
        "eye.side": tr("Side"),
        "eye.only_eye": tr("Only eye"),
        "eye.visual_acuity_logmar": tr("Acuity, measured"),
        "eye.visual_acuity": tr("Acuity, in words"),
        "eye.light_projection": tr("Projection of light"),
        "eye.pressure_mmhg": tr("Pressure"),
        "biometry.axial_length_mm": tr("Axial length"),
        "biometry.axial_length_method": tr("Method of the length"),
        "biometry.k1_d": tr("K1"),
        "biometry.k1_axis_deg": tr("K1, meridian"),
        "biometry.k2_d": tr("K2"),
        "biometry.k2_axis_deg": tr("K2, meridian"),
        "biometry.chamber_depth_mm": tr("Chamber depth"),
        "biometry.lens_thickness_mm": tr("Lens thickness"),
        "biometry.white_to_white_mm": tr("White to white"),
        "biometry.corneal_thickness_um": tr("Corneal thickness"),
        "biometry.endothelial_count_per_mm2": tr("Endothelial count"),
        "biometry.posterior_segment_scan": tr("Scan behind the lens"),
        "fellow.axial_length_mm": tr("Axial length"),
        "fellow.k1_d": tr("K1"),
        "fellow.k2_d": tr("K2"),
        "fellow.chamber_depth_mm": tr("Chamber depth"),
        "fellow.refraction_d": tr("Refraction"),
        "fellow.operated": tr("Operated"),
        "fellow.zonular_complication": tr("Zonular complication"),
        "lens.grade": tr("Hardness"),
        "lens.appearance": tr("Appearance"),
        "signs.dialysis_clock_hours": tr("Gap seen, clock hours"),
        "signs.pupil_dilated_mm": tr("Pupil after drops"),
        "theatre.has": tr("There is"),
        "theatre.seat": tr("Seat"),
        "theatre.retina_service": tr("Retina service"),
        "target.refraction_d": tr("Refraction aimed at"),
        "target.lens_constant": tr("Lens constant A, and its method"),
    }


def own_words() -> dict[tuple[str, str], str]:
    """Choices that read better in a form than in a thread."""
    return {
        ("person.sex", "female"): tr("female"),
        ("person.sex", "male"): tr("male"),
        ("person.sex", "unknown"): tr("not recorded"),
        ("eye.side", "left"): tr("left"),
        ("eye.side", "right"): tr("right"),
    }


def option_words(path: str, option: str) -> str:
    """What one choice of a field is called."""
    own = own_words().get((path, option)) or choices().get((path, option))
    plain = tr(option.replace("-", " "))
    return own or (plain if option == "none" else things().get(option, plain))


def label_of(path: str, meaning: str) -> str:
    """What a field is called in a form."""
    words = short_labels().get(path) or tr(meaning) or field_words(path)
    return words[:1].upper() + words[1:]


def level_words(level: str) -> str:
    """What a level of the checks is called."""
    return {"note": tr("note"), "recheck": tr("recheck"), "refuse": tr("cannot be planned upon")}[level]
