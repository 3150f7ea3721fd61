"""Does what was measured fit together: two readings of one length, and lengths against the refractions of old.

These checks ask formulas and calculations, so they stand here and not among the plain ones of the eye's records; every
face asks :func:`check` and gets both. A difference of length between the eyes that the old refractions explain is no
more than a note; one that they contradict is measured again.
"""

from __future__ import annotations

from dataclasses import replace

from forestay.evidence import EvidenceSet, Reader, default_evidence
from forestay.eye import plausibility
from forestay.eye.plausibility import LEVELS, Finding
from forestay.eye.records import CaseFile, FellowEye
from forestay.eye.view import mean_k_d
from forestay.optics import formulas, two_eyes, two_lengths
from forestay.optics.formulas import ChoiceConstants
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.two_lengths import Compared, Reading
from forestay.optics.vergence import VergenceConstants
from forestay.text import tr

LENGTH_DIFFERENCE = "length-fellow-recheck"
"""The plain check that the old refractions can explain."""


def check(case: CaseFile, evidence: EvidenceSet | None = None, use: Reader | None = None) -> tuple[Finding, ...]:
    """All findings of ``case``, worst first: the plain checks, and whether the measurements fit one another."""
    reader = use or (evidence or default_evidence()).reader()
    plain = plausibility.check(case, use=reader)
    misfit = refraction_misfit_d(case, reader)
    most = reader.number("two_eyes.refraction_misfit_d") if misfit is not None else 0.0
    if misfit is not None and abs(misfit) <= most:
        plain = tuple(_explained(f) if f.key == LENGTH_DIFFERENCE else f for f in plain)
    more = (_second_length(case, reader), _misfit(case, misfit, most, reader), _alone(case, misfit, reader))
    return tuple(sorted((*plain, *(f for f in more if f is not None)), key=lambda f: -LEVELS.index(f.level)))


def readings_of(case: CaseFile, use: Reader) -> Compared | None:
    """How the two readings of this eye's length fit; None where there are not two with their ways."""
    b = case.biometry
    if b.axial_length_mm is None or b.axial_length_method is None:
        return None
    if b.second_length_mm is None or b.second_length_method is None:
        return None
    return two_lengths.compared(
        Reading(b.axial_length_mm, b.axial_length_method),
        Reading(b.second_length_mm, b.second_length_method),
        read=use.constants,
    )


def readings_words(found: Compared) -> str:
    """The comparison of two readings in one sentence."""
    return tr(
        "The two readings of the length differ by {raw:+.2f} mm; {expected:+.2f} mm of it is the ways of measuring. What is"
        " left, {misfit:+.2f} mm, is {sd:.1f} standard deviations",
        raw=found.raw_mm,
        expected=found.expected_mm,
        misfit=found.misfit_mm,
        sd=abs(found.misfit_sd),
    )


def refraction_misfit_d(case: CaseFile, use: Reader) -> float | None:
    """Difference of the two eyes' refractions before their cataracts, less what length and cornea explain [D]."""
    old, fellow_old = case.biometry.old_refraction_d, fellow_refraction_d(case.fellow)
    eye, fellow = _measured(case), _measured_fellow(case)
    if old is None or fellow_old is None or eye is None or fellow is None:
        return None
    expected = _expected(case, eye, fellow, use)
    return None if expected is None else old - fellow_old - expected


def fellow_refraction_d(fellow: FellowEye) -> float | None:
    """The fellow's refraction from before any cataract: the old one, or that of today where it has none [D]."""
    if fellow.old_refraction_d is not None:
        return fellow.old_refraction_d
    return fellow.refraction_d if fellow.operated is False and fellow.cataract is False else None


def _explained(finding: Finding) -> Finding:
    return replace(
        finding,
        level="note",
        why=tr("{why} The old refractions differ as these lengths and corneas would have it.", why=finding.why),
    )


def _second_length(case: CaseFile, use: Reader) -> Finding | None:
    found = readings_of(case, use)
    if found is None or found.agreement == "agree":
        return None
    says = readings_words(found)
    advice = (
        tr("measure both again, and do not take their mean.")
        if found.agreement == "recheck"
        else tr("look at both again before the power is chosen.")
    )
    return Finding(
        field="biometry.second_length_mm",
        value=case.biometry.second_length_mm,
        level="recheck" if found.agreement == "recheck" else "note",
        why=tr("{says}: {advice}", says=says, advice=advice),
        key="length-second-reading",
        source=use.evidence_source("two-lengths-house"),
    )


def _misfit(case: CaseFile, misfit_d: float | None, most_d: float, use: Reader) -> Finding | None:
    if misfit_d is None or abs(misfit_d) <= most_d:
        return None
    return Finding(
        field="biometry.old_refraction_d",
        value=case.biometry.old_refraction_d,
        level="recheck",
        why=tr(
            "Before the cataract the two eyes' refractions differed by {d:.2f} D more than their lengths and corneas"
            " explain (more than {most:.1f} D): measure both lengths and corneas again.",
            d=abs(misfit_d),
            most=most_d,
        ),
        key="old-refraction-fellow",
        source=use.evidence_source("two-eyes-house"),
    )


def _alone(case: CaseFile, misfit_d: float | None, use: Reader) -> Finding | None:
    """One eye's old refraction against its own length and cornea, where there is no fellow to compare with."""
    old, eye = case.biometry.old_refraction_d, _measured(case)
    if old is None or eye is None or misfit_d is not None:
        return None
    average = Measured(use.number("two_eyes.average_length_mm"), use.number("two_eyes.average_k_d"), None)
    expected = _expected(case, eye, average, use)
    if expected is None or abs(old - expected) <= use.number("two_eyes.lone_misfit_d"):
        return None
    return Finding(
        field="biometry.old_refraction_d",
        value=old,
        level="note",
        why=tr(
            "A refraction of {old:+.2f} D before the cataract does not go with this length and cornea, which with an"
            " average lens would give about {expected:+.1f} D: look at both again, and at the fellow eye.",
            old=old,
            expected=expected,
        ),
        key="old-refraction-alone",
        source=use.evidence_source("two-eyes-house"),
    )


def _measured(case: CaseFile) -> Measured | None:
    k = mean_k_d(case.biometry.k1_d, case.biometry.k2_d)
    length = case.biometry.axial_length_mm
    return None if k is None or length is None else Measured(length, k, None)


def _measured_fellow(case: CaseFile) -> Measured | None:
    k = mean_k_d(case.fellow.k1_d, case.fellow.k2_d)
    length = case.fellow.axial_length_mm
    return None if k is None or length is None else Measured(length, k, None)


def _expected(case: CaseFile, eye: Measured, other: Measured, use: Reader) -> float | None:
    """Difference of refraction with one lens in both eyes [D]; None where the formula answers neither."""
    name = formulas.usual_at(axial_length_mm=float(eye.axial_length_mm), constants=use.constants(ChoiceConstants))[-1]
    model = formulas.model(name, use.constants)
    if any(_refused(name, model, one) for one in (eye, other)):
        return None
    constant = case.target.lens_constant
    a = constant.a if constant is not None and constant.a is not None else use.number("two_eyes.usual_a")
    return two_eyes.expected_difference_d(
        model=model,
        eye=eye,
        fellow=other,
        constant=AConstant(a),
        vergence_constants=use.constants(VergenceConstants),
    )


def _refused(name: str, model: LensModel, eye: Measured) -> bool:
    found = formulas.refusal(
        name,
        model=model,
        axial_length_mm=float(eye.axial_length_mm),
        k_d=float(eye.k_d),
        chamber_depth_mm=None,
    )
    return found is not None
