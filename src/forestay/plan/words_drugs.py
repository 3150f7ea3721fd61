"""Words about the patient and the drugs of this eye: what was asked, what is forbidden, amounts by weight."""

from __future__ import annotations

from typing import Any

from forestay.calc.dosing import AnaestheticMixtureInput, BlockPart, anaesthetic_mixture
from forestay.calc.preparing import band_of
from forestay.dosing.infusion import infusion
from forestay.eye.records import CaseFile
from forestay.plan.measures import pupil_is_short
from forestay.plan.model import Measures
from forestay.plan.setting import Setting
from forestay.text import tr

NEEDLES = ("peribulbar", "retrobulbar")


def anticoagulant_text(kind: str | None) -> str:
    """An anticoagulant as said."""
    return {
        "warfarin": tr("warfarin"),
        "direct": tr("a direct anticoagulant"),
        "antiplatelet": tr("an antiplatelet drug"),
        "dual-antiplatelet": tr("two antiplatelet drugs"),
    }.get(kind or "", tr("no anticoagulant"))


def unrecorded_text(case: CaseFile) -> str | None:
    """What must be asked or measured since the case does not say it and drugs or stops hang on it; None if all is said."""
    p, s = case.person, case.signs
    asked = [
        word
        for value, word in (
            (p.allergies, tr("allergies")),
            (p.anticoagulant, tr("anticoagulants")),
            (s.alpha_blocker, tr("alpha-blockers (now or ever)")),
            (p.heart_disease, tr("heart disease")),
            (p.kidney_disease, tr("kidney disease")),
            (p.lies_flat, tr("lying flat")),
        )
        if value is None
    ]
    measured = [
        word
        for value, word in (
            (case.eye.pressure_mmhg, tr("pressure")),
            (s.pupil_dilated_mm, tr("dilated pupil")),
        )
        if value is None
    ]
    parts = []
    if asked:
        parts.append(tr("ask about {things}", things=", ".join(asked)))
    if measured:
        parts.append(tr("measure {things}", things=" and ".join(measured)))
    return tr("; ").join(parts) or None


def mannitol_text(setting: Setting, row: str = "drug.mannitol.dose_g_per_kg") -> str:
    """Mannitol by weight: volume and amount at the amount per kilogram of that row."""
    weight, use = setting.case.person.weight_kg, setting.use
    per = use.number(row)
    if weight is None:
        return tr("{per:g} g/kg by weight, not known here", per=per)
    made = infusion(
        weight_kg=weight,
        g_per_kg=per,
        strength_mg_per_ml=use.number("drug.mannitol.strength_percent")
        * use.number("dilution.mg_per_ml_in_one_percent"),
        mg_per_g=1000,
    )
    return tr("{ml:.0f} ml ({g:.0f} g at {per:g} g/kg)", ml=made.volume_ml, g=made.dose_g, per=per)


def _block_parts(setting: Setting, kind: str) -> tuple[BlockPart, ...]:
    """The solutions of the plan's block, at the largest volume that is usual."""
    use = setting.use
    volume = use.number(f"drug.{kind}.volume_high_ml")
    lidocaine = use.number(f"drug.{kind}.lidocaine_percent")
    if kind != "peribulbar":
        return (BlockPart(drug="lidocaine", volume_ml=volume, concentration_percent=lidocaine),)
    bupivacaine = use.number("drug.peribulbar.bupivacaine_percent")
    return (
        BlockPart(drug="lidocaine", volume_ml=volume / 2, concentration_percent=lidocaine),
        BlockPart(drug="bupivacaine", volume_ml=volume / 2, concentration_percent=bupivacaine),
    )


def _block_limit(setting: Setting, kind: str) -> str:
    """The block's anaesthetic against the limit for this weight; the volume is cut where it would exceed it."""
    use, weight = setting.use, setting.case.person.weight_kg
    parts = _block_parts(setting, kind)
    said = " and ".join(
        tr("{name} {mg:g} mg/kg", name=tr(p.drug), mg=use.number(f"anaesthetic.plain_mg_per_kg.{p.drug}"))
        for p in parts
    )
    child = child_note(setting)
    if weight is None:
        return tr("limit {said}; the weight is not known here", said=said) + child
    made, _ = anaesthetic_mixture.function(AnaestheticMixtureInput(weight_kg=weight, parts=parts), use)
    if not made.within_limit:
        return (
            tr("no more than {ml:.1f} ml at {kg:g} kg (limit {said})", ml=made.largest_ml, kg=weight, said=said) + child
        )
    return (
        tr(
            "{ml:g} ml are {share:.0f} % of the limit at {kg:g} kg ({said})",
            ml=sum(p.volume_ml for p in parts),
            share=100 * made.share,
            kg=weight,
            said=said,
        )
        + child
    )


def child_note(setting: Setting) -> str:
    """What stands beside an adult's amount where the patient is a child; else nothing."""
    if setting.case.person.age_years >= setting.use.number("act.adult_years"):
        return ""
    return tr("; a child: amounts are for adults, the anaesthetist settles them")


def _weight_note(setting: Setting) -> str:
    weight = setting.case.person.weight_kg
    if weight is None:
        return tr("; the weight is not known here")
    light = weight < setting.use.number("act.light_kg")
    setting.use.weigh(("act.light_kg",), held=light)
    if light:
        return tr("; {kg:g} kg: a light person, settle the amount with a physician", kg=weight)
    return ""


def _band_text(setting: Setting, drug: str) -> str:
    band = band_of(drug, setting.use)
    return tr("stop under {low:g} or over {high:g} mg", low=band.stop_below, high=band.stop_above)


def _alerts(case: CaseFile) -> str:
    """What is read aloud about the patient before the first cut."""
    p = case.person
    if p.allergies is None:
        said = [tr("allergies not recorded: ask now")]
    else:
        said = [
            tr("allergies: {names}", names=", ".join(tr(a) for a in p.allergies)) if p.allergies else tr("no allergy")
        ]
    if p.anticoagulant == "warfarin" and p.inr:
        said.append(tr("warfarin, INR {inr:g}", inr=p.inr))
    elif p.anticoagulant not in (None, "none"):
        said.append(anticoagulant_text(p.anticoagulant))
    if case.signs.alpha_blocker:
        said.append(tr("alpha-blocker"))
    if p.diabetes:
        said.append(tr("diabetes: glucose today"))
    return tr("; ").join(said)


def _needle_reason(setting: Setting) -> str:
    case, use, reasons = setting.case, setting.use, []
    length, kind, inr = case.biometry.axial_length_mm, case.person.anticoagulant, case.person.inr
    if length is not None and length >= use.number("act.long_eye_mm"):
        reasons.append(tr("the eye is long ({mm:.1f} mm)", mm=length))
    if case.biometry.posterior_segment_scan == "staphyloma":
        reasons.append(tr("the scan shows a staphyloma"))
    if kind in ("direct", "dual-antiplatelet"):
        reasons.append(tr("the patient takes {drug}", drug=anticoagulant_text(kind)))
    if kind == "warfarin":
        if inr is None or inr <= use.number("act.inr_unmeasured"):
            reasons.append(tr("the patient takes warfarin and the INR is not known"))
        elif inr > use.number("act.inr_high"):
            reasons.append(tr("the patient takes warfarin at an INR of {inr:g}", inr=inr))
        else:
            reasons.append(tr("the patient takes warfarin (INR {inr:g}): a blunt cannula will do", inr=inr))
    return tr(" and ").join(reasons)


def patient_words(setting: Setting, stops: frozenset[str]) -> dict[str, Any]:
    """Words that need no technique."""
    case, use = setting.case, setting.use
    p = case.person
    beta = [a for a in ("cephalosporin", "penicillin") if a in (p.allergies or ())]
    organs = [
        w for flag, w in ((p.heart_disease, tr("heart disease")), (p.kidney_disease, tr("kidney disease"))) if flag
    ]
    asking = [
        w
        for flag, w in ((p.heart_disease, tr("heart disease")), (p.kidney_disease, tr("kidney disease")))
        if flag is None
    ]
    forbidden = "mannitol-heart-kidney" in stops
    return {
        "words.unrecorded": unrecorded_text(case),
        "words.alerts": _alerts(case),
        "words.beta_lactam": tr(" and ").join(tr(b) for b in beta) or None,
        "words.heart_kidney": tr(" and ").join(organs) or None,
        "words.anticoagulant": anticoagulant_text(p.anticoagulant),
        "words.anticoagulant_the": {
            "warfarin": tr("warfarin"),
            "direct": tr("the direct anticoagulant"),
            "antiplatelet": tr("the antiplatelet drug"),
            "dual-antiplatelet": tr("both antiplatelet drugs"),
        }.get(p.anticoagulant or ""),
        "words.needle_reason": _needle_reason(setting),
        "words.mannitol": mannitol_text(setting),
        **_one_of_two(setting, stops),
        "words.mannitol_frail": mannitol_text(setting, "drug.mannitol.frail_g_per_kg"),
        "words.nsaid_start": tr("today")
        if (case.eye.pressure_mmhg or 0.0) > use.number("act.pressure_treat_mmhg")
        else tr("{days:g} days before", days=use.number("drug.nsaid.days_before")),
        "words.mannitol_bleed": tr("no mannitol without a physician's word")
        if forbidden
        else tr("mannitol {dose}", dose=mannitol_text(setting)),
        "words.allergy_note": tr("; allergies are not recorded: ask before it is given") if p.allergies is None else "",
        "words.heart_note": tr("; heart disease is not recorded: ask before it is given")
        if p.heart_disease is None
        else "",
        "words.organ_note": tr("; not recorded, ask before it is given: {organs}", organs=", ".join(asking))
        if asking
        else "",
        "words.child_note": child_note(setting),
        "words.weight_note": _weight_note(setting),
        "words.band_cefuroxime": _band_text(setting, "cefuroxime"),
        "words.band_moxifloxacin": _band_text(setting, "moxifloxacin") if beta else None,
        "words.length_note": tr("; the length is not known: no needle before it is")
        if case.biometry.axial_length_mm is None
        else "",
        "words.antisepsis": tr(
            "Aqueous chlorhexidine {percent:g} %, sac and lids", percent=use.number("drug.chlorhexidine.percent")
        )
        if "iodine" in stops
        else tr(
            "Povidone-iodine {percent:g} % in the sac for {minutes:g} minutes",
            percent=use.number("drug.povidone.sac_percent"),
            minutes=use.number("drug.povidone.contact_minutes"),
        ),
        "words.antibiotic": _antibiotic(setting, stops),
    }


def _one_of_two(setting: Setting, stops: frozenset[str]) -> dict[str, str]:
    """Acetazolamide by mouth and mannitol before one operation: which, where both are in the list."""
    case, use = setting.case, setting.use
    depth, pressure = case.biometry.chamber_depth_mm, case.eye.pressure_mmhg
    high = pressure is not None and pressure > use.number("act.pressure_treat_mmhg")
    risen = pressure is not None and pressure > use.number("act.pressure_note_mmhg")
    shallow = depth is not None and depth < use.number("act.shallow_chamber_mm")
    barred = any(k.startswith("acetazolamide") or k == "mannitol-heart-kidney" for k in stops)
    pressing = bool(case.signs.pseudoexfoliation or case.signs.glaucoma or risen)
    if high or not shallow or not pressing or barred:
        return {"words.or_mannitol": "", "words.one_of_two": ""}
    return {
        "words.or_mannitol": tr("; this one, unless the chamber is to be deepened: then mannitol alone"),
        "words.one_of_two": tr("; instead of acetazolamide, never beside it"),
    }


def _antibiotic(setting: Setting, stops: frozenset[str]) -> str:
    use = setting.use
    if "moxifloxacin-allergy" in stops and "cefuroxime-allergy" in stops:
        return tr("No cefuroxime and no moxifloxacin: the antibiotic is settled before surgery")
    name, instead = ("moxifloxacin", tr(", not cefuroxime")) if "cefuroxime-allergy" in stops else ("cefuroxime", "")
    return tr(
        "{name} {mg:g} mg in {ml:g} ml into the chamber{instead}",
        name=tr(name.capitalize()),
        mg=use.number(f"drug.{name}.dose_mg"),
        ml=use.number(f"drug.{name}.volume_ml"),
        instead=instead,
    )


def drug_words(setting: Setting, measures: Measures) -> dict[str, Any]:
    """Words about drugs that depend on the technique and its anaesthetic."""
    case, use = setting.case, setting.use
    short = pupil_is_short(setting, measures)
    adrenaline = bool(short or case.signs.alpha_blocker) and not case.person.heart_disease
    said = []
    if measures.anaesthetic in (None, "topical"):
        said.append(
            tr(
                "Lidocaine {percent:g} %, {ml:g} ml, into the chamber.",
                percent=use.number("drug.lidocaine.strength_percent"),
                ml=use.number("drug.lidocaine.volume_ml"),
            )
        )
    if adrenaline:
        said.append(
            tr(
                "Adrenaline {percent:g} %, {ml:g} ml, into the chamber; wait {minutes:g} minute.",
                percent=use.number("drug.adrenaline.chamber_percent"),
                ml=use.number("drug.adrenaline.chamber_ml"),
                minutes=use.number("drug.adrenaline.chamber_minutes"),
            )
        )
    elif short and case.person.heart_disease:
        said.append(tr("No adrenaline bolus: heart disease is recorded."))
    return {
        "words.pupil_short": short,
        "words.adrenaline_chamber": adrenaline,
        "words.subtenon_limit": _block_limit(setting, "subtenon") if measures.anaesthetic == "sub-tenon" else None,
        "words.peribulbar_limit": _block_limit(setting, "peribulbar") if measures.anaesthetic == "peribulbar" else None,
        "words.intracameral": "".join(f"{s} " for s in said),
        "words.carbachol_caution": tr("not before the wound is clear of vitreous")
        if measures.lens_position == "aphakia"
        else tr("after the lens is centred"),
        "words.adrenaline_standby": not (short or case.signs.alpha_blocker),
        "words.adrenaline_bleeds": tr("adrenaline only in the irrigation: heart disease is recorded")
        if case.person.heart_disease
        else tr("adrenaline {percent:g} % into the chamber", percent=use.number("drug.adrenaline.chamber_percent")),
        "words.adrenaline_fallback": tr("adrenaline in the irrigation")
        if case.person.heart_disease
        else tr("adrenaline into the chamber, then in the irrigation"),
        "words.miotic": tr(
            "Carbachol {percent:g} %, {ml:g} ml, {when}. ",
            when=tr("until the pupil is round")
            if measures.lens_position == "aphakia"
            else tr("once the lens is centred"),
            percent=use.number("drug.carbachol.percent"),
            ml=use.number("drug.carbachol.volume_ml"),
        )
        if case.signs.pseudoexfoliation
        or case.signs.glaucoma
        or measures.lens_position in ("sulcus", "anterior-chamber", "retropupillary-iris")
        else "",
    }
