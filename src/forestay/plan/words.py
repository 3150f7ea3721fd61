"""Words of this eye for the sentences of the rules: hours in the eye's own clock, sides, powers, doses by weight."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from forestay.eye.records import CaseFile
from forestay.frame import wrap_hour
from forestay.plan.lens_part import best_choice
from forestay.plan.measures import Setting, anterior_chamber_allowed
from forestay.plan.mirror import Frame
from forestay.plan.model import LensPlan, Measures
from forestay.text import tr

ANAESTHETICS = {
    "topical": "topical anaesthesia",
    "sub-tenon": "sub-Tenon block",
    "peribulbar": "peribulbar block",
    "retrobulbar": "retrobulbar block",
    "general": "general anaesthesia",
}
TECHNIQUES = {
    "manual-small-incision": "manual small incision",
    "phacoemulsification": "phacoemulsification",
    "extracapsular": "extracapsular extraction",
    "intracapsular": "intracapsular extraction",
    "referral": "referral",
}


def clock_text(hour: float) -> str:
    """A clock position as said: ``10:30``, ``12``."""
    whole = int(hour)
    minutes = round((hour - whole) * 60)
    if minutes == 60:
        whole, minutes = whole + 1, 0
    whole = whole or 12
    return f"{whole}:{minutes:02d}" if minutes else f"{whole}"


def hours_text(hours: Sequence[float]) -> str:
    """Clock positions in a row: ``1:30, 4:30, 7:30 and 10:30``."""
    said = [clock_text(h) for h in hours]
    return said[0] if len(said) == 1 else tr("{first} and {last}", first=", ".join(said[:-1]), last=said[-1])


def span_text(hours: Sequence[float]) -> str:
    """A run of clock hours: ``4 to 6 o'clock``; separate ones are listed."""
    if not hours:
        return ""
    ordered = sorted(h % 12 for h in hours)
    breaks = [(ordered[(i + 1) % len(ordered)] - h) % 12 for i, h in enumerate(ordered)]
    if len(ordered) > 1 and sum(b > 1 for b in breaks) > 1:
        return tr("{hours} o'clock", hours=hours_text([wrap_hour(h) for h in ordered]))
    start = 0 if len(ordered) == 1 else (breaks.index(max(breaks)) + 1) % len(ordered)
    first, last = wrap_hour(ordered[start]), wrap_hour(ordered[start - 1])
    if first == last:
        return tr("{hour} o'clock", hour=clock_text(first))
    return tr("{first} to {last} o'clock", first=clock_text(first), last=clock_text(last))


def _weak_side(setting: Setting, frame: Frame) -> str:
    gaps = setting.estimates.gap_hours
    if gaps:
        return tr("the gap at {hours}", hours=span_text(frame.hours(gaps)))
    return tr("the weakest side found") if setting.weak else tr("any weak side found")


def _power_text(choice: tuple[float, float] | None) -> str | None:
    return None if choice is None else tr("{power:+.1f} D", power=choice[0])


def _anterior_reason(case: CaseFile, setting: Setting) -> str:
    use, reasons = setting.use, []
    count, depth = case.biometry.endothelial_count_per_mm2, case.biometry.chamber_depth_mm
    if count is not None and count < use.number("act.count_caution_per_mm2"):
        reasons.append(tr("{n:.0f} cells/mm2", n=count))
    if depth is not None and depth < use.number("act.shallow_chamber_mm"):
        reasons.append(tr("a chamber of {mm:.2f} mm", mm=depth))
    if case.signs.glaucoma:
        reasons.append(tr("glaucoma"))
    if case.signs.guttae:
        reasons.append(tr("guttae"))
    return ", ".join(reasons)


def _needle_reason(case: CaseFile, setting: Setting) -> str:
    reasons, length = [], case.biometry.axial_length_mm
    if length is not None and length >= setting.use.number("act.long_eye_mm"):
        reasons.append(tr("the eye is long ({mm:.1f} mm)", mm=length))
    if case.person.anticoagulant in ("warfarin", "direct", "dual-antiplatelet"):
        reasons.append(tr("the patient takes {drug}", drug=anticoagulant_text(case.person.anticoagulant)))
    return tr(" and ").join(reasons)


def anticoagulant_text(kind: str | None) -> str:
    """An anticoagulant as said."""
    return {
        "warfarin": tr("warfarin"),
        "direct": tr("a direct anticoagulant"),
        "antiplatelet": tr("an antiplatelet drug"),
        "dual-antiplatelet": tr("two antiplatelet drugs"),
    }.get(kind or "", tr("no anticoagulant"))


def _hydro(setting: Setting) -> str:
    if setting.case.lens.posterior_polar:
        return tr("No hydrodissection: delineate only, do not turn.")
    if setting.weak:
        return tr(
            "Little fluid in many places, or OVD to cleave; press to release; OVD held ready at the gap or weak side."
        )
    if setting.case.lens.appearance in ("white", "intumescent", "hypermature"):
        return tr("Hardly any fluid: the cortex is loose already; free the nucleus with OVD.")
    return tr("Gentle fluid waves in several places, pressing to release, until the nucleus turns.")


def _mannitol(setting: Setting) -> str:
    weight = setting.case.person.weight_kg
    if weight is None:
        return tr("1 g/kg by weight, not known here")
    use = setting.use
    dose_g = use.number("drug.mannitol.dose_g_per_kg") * weight
    volume_ml = dose_g / use.number("drug.mannitol.strength_percent") * 100
    return tr(
        "{ml:.0f} ml ({g:.0f} g at {per:g} g/kg)", ml=volume_ml, g=dose_g, per=use.number("drug.mannitol.dose_g_per_kg")
    )


def _eye_words(setting: Setting, frame: Frame, stops: frozenset[str]) -> dict[str, Any]:
    case = setting.case
    allergies = case.person.allergies or ()
    beta = [a for a in ("cephalosporin", "penicillin") if a in allergies]
    organs = [
        w
        for flag, w in (
            (case.person.heart_disease, tr("heart disease")),
            (case.person.kidney_disease, tr("kidney disease")),
        )
        if flag
    ]
    gaps, room = setting.estimates.gap_hours, setting.estimates.room
    no_mannitol = "mannitol-heart-kidney" in stops
    lost = (
        tr("capsule hooks on the rim beside it")
        if not setting.lacks_kit("capsule-hooks")
        else tr("hold the bag with a second instrument; there are no capsule hooks here")
    )
    return {
        "words.side": tr("{side} eye", side=tr(frame.side)),
        "words.gap": span_text(frame.hours(gaps)) or None,
        "words.weak_side": _weak_side(setting, frame),
        "words.beta_lactam": tr(" and ").join(tr(b) for b in beta) or None,
        "words.heart_kidney": tr(" and ").join(organs) or None,
        "words.anticoagulant": anticoagulant_text(case.person.anticoagulant),
        "words.needle_reason": _needle_reason(case, setting),
        "words.anterior_chamber_reason": _anterior_reason(case, setting),
        "words.anterior_allowed": anterior_chamber_allowed(setting),
        "words.deepens": "" if room is None else tr(": the chamber deepens to about {mm:.1f} mm of room", mm=room.centre),
        "words.room": tr("; how much is there is not known") if room is None else tr(", {mm:.1f} mm are there with OVD", mm=room.centre),
        "words.hydro": _hydro(setting),
        "words.mannitol": _mannitol(setting),
        "words.mannitol_bleed": tr("no mannitol without a physician's word")
        if no_mannitol
        else tr("mannitol {dose}", dose=_mannitol(setting)),
        "words.gap_hooks": lost,
        "words.retina": {
            "in-house": tr("in this house"),
            "same-day": tr("reached the same day"),
            "days": tr("days away, as agreed beforehand"),
            "none": tr("none in reach: arrange one before surgery"),
            None: tr("reach not stated"),
        }[case.theatre.retina_service],
        "words.antisepsis": tr("Aqueous chlorhexidine") if "iodine" in stops else tr("Povidone-iodine"),
        "words.antibiotic": tr("Moxifloxacin into the chamber, not cefuroxime")
        if "cefuroxime-allergy" in stops
        else tr("Cefuroxime into the chamber"),
        "words.pressure_note": tr("; OVD left behind raises the pressure")
        if case.signs.pseudoexfoliation or case.signs.glaucoma
        else "",
        "words.intracameral": tr("Lidocaine and dilute adrenaline")
        if not case.person.heart_disease
        else tr("Lidocaine; adrenaline only with the pulse watched"),
        "words.turn_rule": tr("No turning: the zonule is weak.") if setting.weak else tr("Loosen by tangential turns."),
        "words.divide": tr("Soft nucleus: aspirate and fold in.")
        if (case.lens.grade or 0) <= setting.use.number("act.soft_grade") and case.lens.grade is not None
        else tr("Chop rather than groove; keep the nucleus, not the bag, between the instruments."),
    }


def _measure_words(setting: Setting, measures: Measures, frame: Frame) -> dict[str, Any]:
    hooks = frame.hours(measures.hook_clocks)
    capsule = frame.hours(measures.capsule_hook_clocks)
    return {
        "words.technique": tr(TECHNIQUES[measures.technique]),
        "words.anaesthetic": tr(ANAESTHETICS[measures.anaesthetic])
        if measures.anaesthetic
        else tr("anaesthetic not settled"),
        "words.anaesthetic_do": tr("Give the {name}", name=tr(ANAESTHETICS[measures.anaesthetic]))
        if measures.anaesthetic
        else tr("Settle the anaesthetic"),
        "words.tunnel_hours": tr("{hour} o'clock", hour=clock_text(frame.hour(measures.tunnel_clock))),
        "words.tunnel_shape": {
            "frown": tr("Frown-shaped"),
            "chevron": tr("Chevron-shaped"),
            "straight": tr("Straight"),
        }[measures.tunnel_shape],
        "words.hook_hours": hours_text(hooks) if hooks else None,
        "words.hook_ports": tr("; hook stabs at {hours}", hours=hours_text(hooks)) if hooks else "",
        "words.capsule_hook_hours": hours_text(capsule) if capsule else None,
        "words.ring_when": tr("before the nucleus")
        if measures.ring == "before-nucleus"
        else tr("after nucleus and cortex, earlier only if the bag collapses"),
        "words.rim_rule": tr("A ring is planned: widen by a spiral, never by a cut.")
        if measures.ring != "none"
        else tr("If it is short: spiral wider, divide, or one or two relaxing cuts, and then no ring."),
        "words.up": tr("Tip the pole opposite {side} up first.", side=_weak_side(setting, frame))
        if setting.weak
        else tr("Tip one pole up and wheel the nucleus out of the bag."),
        "words.suture": tr("sutured as preplaced") if measures.sutured else tr("a suture if it leaks"),
    }


def _lens_words(setting: Setting, measures: Measures, lens: LensPlan, frame: Frame) -> dict[str, Any]:
    bag, sulcus = best_choice(lens, "bag"), best_choice(lens, "sulcus")
    anterior, none = best_choice(lens, "anterior-chamber"), best_choice(lens, "aphakia")
    scleral, iris = best_choice(lens, "scleral"), best_choice(lens, "retropupillary-iris")
    allowed = anterior_chamber_allowed(setting)
    has_three_piece = not setting.lacks_kit("three-piece-lens")
    chosen = best_choice(lens, measures.lens_position)
    place = tr(measures.lens_position.replace("-", " "))
    gap = span_text(frame.hours(setting.estimates.gap_hours))
    if measures.lens_position == "aphakia":
        do = tr("Leave the eye without a lens for now; second operation.")
    elif chosen is None:
        do = tr("Lens for the {place}; no power could be worked out.", place=place)
    else:
        do = tr(
            "{power:+.1f} D into the {place}: {refraction:+.2f} D expected.",
            power=chosen[0],
            place=place,
            refraction=chosen[1],
        )
    if gap and measures.lens_position in ("bag", "sulcus"):
        do += " " + tr("Haptics on sound quadrants, not across {gap}.", gap=gap)
    return {
        "words.bag_power": _power_text(bag),
        "words.sulcus_power": _power_text(sulcus),
        "words.sulcus_power_or_none": (_power_text(sulcus) or tr("power not known"))
        if has_three_piece
        else tr("no three-piece lens is here"),
        "words.anterior_power": _power_text(anterior),
        "words.anterior_fallback": tr("anterior chamber lens {power}", power=_power_text(anterior) or "")
        if allowed
        else tr("no anterior chamber lens in this eye or theatre"),
        "words.iris_or_scleral": tr(
            "fixed to the sclera {a} or behind the iris {b}, by a surgeon used to it",
            a=_power_text(scleral) or "",
            b=_power_text(iris) or "",
        ),
        "words.aphakia_refraction": tr("{d:+.1f} D", d=none[1]) if none else tr("not known"),
        "words.lens_do": do,
    }


def words_for(
    setting: Setting,
    measures: Measures | None,
    lens: LensPlan | None,
    frame: Frame,
    stops: frozenset[str] = frozenset(),
) -> dict[str, Any]:
    """Every ``words.`` name that rules may ask for; what cannot be said is None."""
    words = _eye_words(setting, frame, stops)
    if measures is not None:
        words |= _measure_words(setting, measures, frame)
        if lens is not None:
            words |= _lens_words(setting, measures, lens, frame)
    return words
