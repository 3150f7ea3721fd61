"""Names and codes of the DICOM standard (PS3.3, PS3.16) for measurements of the eye that are read and written here."""

from __future__ import annotations

AXIAL = "1.2.840.10008.5.1.4.1.1.78.7"
KERATOMETRY = "1.2.840.10008.5.1.4.1.1.78.3"
LENS_CALCULATIONS = "1.2.840.10008.5.1.4.1.1.78.8"
REFRACTION = "1.2.840.10008.5.1.4.1.1.78.4"
ACUITY = "1.2.840.10008.5.1.4.1.1.78.5"
ENCAPSULATED_PDF = "1.2.840.10008.5.1.4.1.1.104.1"
READ = {
    AXIAL: "Ophthalmic Axial Measurements",
    KERATOMETRY: "Keratometry",
    LENS_CALCULATIONS: "Intraocular Lens Calculations",
    REFRACTION: "Subjective Refraction",
    ACUITY: "Visual Acuity",
}
"""Classes of objects whose values are read."""

Code = tuple[str, str]
"""Coding scheme and value."""

CRYSTALLINE: Code = ("SCT", "247049005")
LENS_STATUS: dict[Code, str] = {
    CRYSTALLINE: "crystalline lens",
    ("SCT", "309523001"): "pseudophakia",
    ("SCT", "24010005"): "aphakia",
    ("SCT", "397559001"): "phakic lens implant",
    ("SCT", "370951003"): "piggyback lenses",
}

VITREOUS_ONLY: Code = ("SCT", "372242005")
VITRECTOMISED: Code = ("SCT", "232077005")
OIL: Code = ("SCT", "247095003")
GAS: Code = ("SCT", "247094004")
VITREOUS_STATUS: dict[Code, str] = {
    VITREOUS_ONLY: "vitreous only",
    VITRECTOMISED: "after vitrectomy",
    OIL: "silicone oil",
    GAS: "gas",
}

ULTRASOUND_METHOD: dict[Code, str] = {
    ("DCM", "111750"): "ultrasound-contact",
    ("DCM", "111751"): "ultrasound-immersion",
}

DEPTH_FROM_FRONT: Code = ("DCM", "111776")
DEPTH_FROM_BACK: Code = ("DCM", "111777")
DEPTH_DEFINITION: dict[Code, str] = {
    DEPTH_FROM_FRONT: "front of the cornea to the lens",
    DEPTH_FROM_BACK: "back of the cornea to the lens",
}

CORNEA: Code = ("SCT", "28726007")
CHAMBER: Code = ("SCT", "31636006")
LENS: Code = ("DCM", "111778")
SECOND_LENS: Code = ("DCM", "111779")
VITREOUS: Code = ("SCT", "26386000")
SEGMENTS: dict[Code, str] = {
    CORNEA: "cornea",
    CHAMBER: "anterior chamber",
    LENS: "single or anterior lens",
    SECOND_LENS: "posterior lens",
    VITREOUS: "vitreous cavity",
}

ACUITY_TYPES: dict[Code, str] = {
    ("SCT", "420050001"): "uncorrected",
    ("SCT", "419775003"): "best-corrected",
    ("SCT", "419475002"): "pinhole",
    ("DCM", "111686"): "habitual",
    ("DCM", "111685"): "through the autorefraction",
    ("DCM", "111687"): "through the prescription",
}
"""With what an acuity was measured; the first four are kept."""
KEPT_ACUITY = ("uncorrected", "best-corrected", "pinhole", "habitual")
