"""Words of this eye for the sentences of the rules: hours in the eye's own clock, sides, steps, powers."""

from __future__ import annotations

from typing import Any

from forestay.eye.records import CaseFile
from forestay.frame import wrap_hour
from forestay.plan.elsewhere import found_elsewhere
from forestay.plan.measures import anterior_chamber_allowed, can_tip, under_pressure
from forestay.plan.mirror import Frame
from forestay.plan.model import LensPlan, Measures
from forestay.plan.setting import Setting
from forestay.plan.words_clock import clock_text, span_text
from forestay.plan.words_drugs import drug_words, patient_words
from forestay.plan.words_hooks import hook_words
from forestay.plan.words_lens import anterior_reason, lens_words
from forestay.text import mark, tr

ANAESTHETICS = {
    "topical": mark("topical anaesthesia"),
    "sub-tenon": mark("sub-Tenon block"),
    "peribulbar": mark("peribulbar block"),
    "retrobulbar": mark("retrobulbar block"),
    "general": mark("general anaesthesia"),
}
TECHNIQUES = {
    "manual-small-incision": mark("manual small incision"),
    "phacoemulsification": mark("phacoemulsification"),
    "extracapsular": mark("extracapsular extraction"),
    "intracapsular": mark("intracapsular extraction"),
    "referral": mark("referral"),
}


SHORT_TOLERANCE_MM = 0.05
"""Half a tenth: sizes are planned in tenths, and less than that is not called short."""


def _weak_side(setting: Setting, frame: Frame) -> str:
    gaps = setting.estimates.gap_hours
    if gaps:
        return tr("the gap at {hours}", hours=span_text(frame.hours(gaps)))
    return tr("a side that proves weaker")


def _pole_at(setting: Setting, measures: Measures, frame: Frame) -> str:
    """Which pole comes up first: across from a gap, else away from the tunnel."""
    if setting.estimates.gap_hours:
        return tr("opposite {side}", side=_weak_side(setting, frame))
    away = clock_text(frame.hour(wrap_hour(measures.tunnel_clock + 6)))
    return tr("at {hour} o'clock, away from the tunnel, or opposite a side that proves weaker,", hour=away)


def _hydro(setting: Setting) -> str:
    if setting.case.lens.posterior_polar:
        return tr("No hydrodissection: delineate only, do not turn.")
    if setting.weak:
        return tr(
            "Little fluid in many places, away from any gap, or OVD to cleave; press to release; OVD held ready at the "
            "weak side."
        )
    if setting.case.lens.appearance in ("white", "intumescent", "hypermature"):
        return tr("Hardly any fluid: the cortex is loose already; free the nucleus with OVD.")
    return tr("Gentle fluid waves in several places, pressing to release, until the nucleus turns.")


def _eye_words(setting: Setting, frame: Frame) -> dict[str, Any]:
    case = setting.case
    gaps, room = setting.estimates.gap_hours, setting.estimates.room
    gap = span_text(frame.hours(gaps)) or None
    return {
        "words.side": tr("{side} eye", side=tr(frame.side)),
        "words.gap": gap,
        "words.weak_side": _weak_side(setting, frame),
        "words.weak_where": tr("the zonule is lost at {hours}", hours=gap)
        if gap
        else tr("the zonule is probably weak all round"),
        "words.anterior_chamber_reason": anterior_reason(case, setting),
        "words.anterior_allowed": anterior_chamber_allowed(setting),
        "words.deepens": "" if room is None else tr(": about {mm:.1f} mm of room", mm=room.centre),
        "words.gap_cover": tr("; dispersive OVD over the gap at {hours}", hours=gap) if gap else "",
        "words.soft_shell": tr("; renew the dispersive layer before the nucleus comes forward and after each entry")
        if _cornea_is_poor(setting)
        else "",
        "words.hydro": _hydro(setting),
        "words.hydro_name": tr("Delineation") if case.lens.posterior_polar else tr("Hydrodissection"),
        "words.no_turning": setting.weak or bool(case.lens.posterior_polar),
        "words.gap_hooks": tr("capsule hooks on the rim beside it")
        if not setting.lacks_kit("capsule-hooks")
        else tr("hold the bag with a second instrument; there are no capsule hooks here"),
        "words.rim_hooks": tr("capsule hooks on the rim")
        if not setting.lacks_kit("capsule-hooks")
        else tr("a second instrument holds the rim; there are no capsule hooks here"),
        "words.edge_hooks": tr("capsule hooks as soon as there is an edge")
        if not setting.lacks_kit("capsule-hooks")
        else tr("a second instrument steadies the lens; there are no capsule hooks here"),
        "words.ring_now": tr("a ring now only if the rim is whole")
        if not setting.lacks_kit("tension-ring")
        else tr("there is no ring here"),
        "words.ring_first": tr("ring first if the rim is whole")
        if not setting.lacks_kit("tension-ring")
        else tr("OVD holds the bag; there is no ring here"),
        "words.retina": {
            "in-house": tr("in this house"),
            "same-day": tr("reached the same day"),
            "days": tr("days away, as agreed beforehand"),
            "none": tr("none in reach: arrange one before surgery"),
            None: tr("reach not stated"),
        }[case.theatre.retina_service],
        "words.elsewhere": found_elsewhere(setting),
        "words.pressure_note": tr("; OVD left behind raises the pressure")
        if case.signs.pseudoexfoliation or case.signs.glaucoma
        else "",
        "words.pressure_reason": tr(" and ").join(
            word
            for flag, word in (
                (case.signs.pseudoexfoliation, tr("pseudoexfoliation")),
                (case.signs.glaucoma, tr("glaucoma")),
            )
            if flag
        )
        or None,
        "words.puncture": _puncture(case),
        "words.rhexis_start": tr(
            "Start small, well inside the view; wider only once the pressure is off and under new OVD: spiral to "
        )
        if under_pressure(case)
        else tr("Continuous, "),
        "words.synechiae": tr("Free the synechiae with OVD. ") if case.signs.synechiae else "",
        "words.pupil_stretch": ""
        if case.signs.alpha_blocker or case.signs.retinopathy == "proliferative"
        else tr(", a gentle stretch"),
        "words.pupil_cuts": tr("; no cut and no stretch of this iris, hooks at its edge")
        if case.signs.alpha_blocker or case.signs.retinopathy == "proliferative"
        else tr(
            "; where it does not give, small cuts of the sphincter or one cut of the iris upwards, sutured at the end"
        ),
        "words.dye_note": tr("; little and short: it may cost endothelium") if _cornea_is_poor(setting) else "",
        "words.turn_rule": _turn_rule(setting),
        "words.divide": _divide(setting),
        "words.keep_formed": _keep_formed(case),
        "words.polar_last": tr(" The plaque at the pole last; do not polish it.") if case.lens.posterior_polar else "",
        "words.ring_sizes": _ring_sizes(setting),
        "words.ring_size_mm": f"{_fitting_rings(setting)[0]:g}",
    }


def _cornea_is_poor(setting: Setting) -> bool:
    case = setting.case
    count = case.biometry.endothelial_count_per_mm2
    few = count is not None and count < setting.use.number("act.count_caution_per_mm2")
    return few or bool(case.signs.guttae)


def _puncture(case: CaseFile) -> str:
    if case.lens.appearance == "intumescent":
        return tr(
            "Press the dome flat with cohesive OVD. Aspirating needle into the centre: draw off the fluid in front, "
            "rock the nucleus to free the fluid behind, refill."
        )
    return tr("Sharp needle, tangential, chamber full.")


def _turn_rule(setting: Setting) -> str:
    if setting.case.lens.posterior_polar:
        return tr("No turning: the posterior pole may be open.")
    return tr("No turning: the zonule is weak.") if setting.weak else tr("Loosen by tangential turns.")


def _divide(setting: Setting) -> str:
    lens = setting.case.lens
    if lens.grade is not None and lens.grade <= setting.use.number("act.soft_grade"):
        do = tr("Soft nucleus: aspirate and fold in.")
    else:
        do = tr("Chop rather than groove; keep the nucleus, not the bag, between the instruments.")
    if lens.posterior_polar:
        do += " " + tr("No turning; the part over the pole last.")
    elif setting.weak:
        do += " " + tr("Turn little, with two instruments; low bottle, low flow.")
    return do


def _keep_formed(case: CaseFile) -> str:
    reasons = [
        word
        for flag, word in (
            (case.lens.posterior_polar, tr("posterior polar lens")),
            (case.signs.vitrectomy, tr("vitrectomised eye")),
            (bool(case.signs.dialysis_clock_hours), tr("gap in the zonule")),
        )
        if flag
    ]
    if not reasons:
        return ""
    return tr(" Never let the chamber fall: OVD in before an instrument comes out ({why}).", why=", ".join(reasons))


def _ring_sizes(setting: Setting) -> str:
    """The ring whose ends overlap in this bag, and the next: sizes by the diameter at which the ends meet."""
    bag, fitting = setting.estimates.bag_diameter.centre, _fitting_rings(setting)
    first = tr("{mm:g} mm with its ends meeting (bag {bag:.1f} mm)", mm=fitting[0], bag=bag)
    return first if len(fitting) == 1 else tr("{first}, {mm:g} mm in reserve", first=first, mm=fitting[1])


def _fitting_rings(setting: Setting) -> list[float]:
    """Sizes whose ends overlap in this bag [mm, ends meeting], the smallest first; the largest where none does."""
    bag, sizes = setting.estimates.bag_diameter.centre, setting.use.numbers("size.ring_closed_mm")
    return [s for s in sizes if s > bag] or [max(sizes)]


def _measure_words(setting: Setting, measures: Measures, frame: Frame) -> dict[str, Any]:
    return hook_words(setting, measures, frame) | {
        "words.technique": tr(TECHNIQUES[measures.technique]),
        "words.anaesthetic": tr(ANAESTHETICS[measures.anaesthetic])
        if measures.anaesthetic
        else tr("anaesthetic not settled"),
        "words.anaesthetic_do": _anaesthetic_do(measures.anaesthetic),
        "words.tunnel_hours": tr("{hour} o'clock", hour=clock_text(frame.hour(measures.tunnel_clock))),
        "words.tunnel_shape": {
            "frown": tr("Frown-shaped"),
            "chevron": tr("Chevron-shaped"),
            "straight": tr("Straight"),
        }[measures.tunnel_shape],
        "words.ring_when": tr("before the nucleus")
        if measures.ring == "before-nucleus"
        else tr("after nucleus and cortex, earlier only if the bag collapses"),
        "words.up": _up(setting, frame),
        "words.pole_at": _pole_at(setting, measures, frame),
        "words.suture": _suture(setting, measures),
    }


def _anaesthetic_do(kind: str | None) -> str:
    if kind is None:
        return tr("Settle the anaesthetic")
    if kind == "general":
        return tr("General anaesthesia")
    if kind == "topical":
        return tr("Give anaesthetic drops")
    return tr("Give the {name}", name=tr(ANAESTHETICS[kind]))


def _up(setting: Setting, frame: Frame) -> str:
    e = setting.estimates
    if e.room is None:
        room = tr("It needs {need:.1f} mm of room to tip; how much is there is not known.", need=e.needed_to_tip.centre)
    else:
        room = tr(
            "It needs {need:.1f} mm of room to tip; {has:.1f} mm are there with OVD.",
            need=e.needed_to_tip.centre,
            has=e.room.centre,
        )
    if not can_tip(setting):
        way = tr(
            "Do not tip it on edge: float it forward flat on OVD, one edge just over the rim; refill before each lift."
        )
        room = _flat_short(setting) or room
    elif setting.weak:
        way = tr("Tip the pole opposite {side} up first.", side=_weak_side(setting, frame))
    elif setting.case.lens.posterior_polar:
        way = tr("Tip one pole up with OVD behind it; no wheeling.")
    else:
        way = tr("Tip one pole up and wheel the nucleus out of the bag.")
    return f"{way} {room}"


def _flat_short(setting: Setting) -> str:
    """What a nucleus that comes forward flat lacks in room, and what is left to do; nothing where it fits."""
    e = setting.estimates
    short = None if e.room is None else e.nucleus_thickness.centre - e.room.centre
    if e.room is None or short is None or short <= SHORT_TOLERANCE_MM:
        return ""
    return tr(
        "Room {has:.1f} mm; it needs {tip:.1f} to tip, {flat:.1f} flat: short by {mm:.1f} mm even flat: divide it unless the chamber deepens.",
        has=e.room.centre,
        tip=e.needed_to_tip.centre,
        flat=e.nucleus_thickness.centre,
        mm=short,
    )


def _suture(setting: Setting, measures: Measures) -> str:
    if measures.sutured:
        return tr("tie the preplaced sutures")
    if setting.case.signs.vitrectomy:
        return tr("one suture at the least doubt, since a vitrectomised eye goes soft and leaks")
    return tr("a suture if it leaks")


def words_for(
    setting: Setting,
    measures: Measures | None,
    lens: LensPlan | None,
    frame: Frame,
    stops: frozenset[str] = frozenset(),
) -> dict[str, Any]:
    """Every ``words.`` name that rules may ask for; what cannot be said is None."""
    words = _eye_words(setting, frame) | patient_words(setting, stops)
    if measures is not None:
        words |= _measure_words(setting, measures, frame) | drug_words(setting, measures)
        if lens is not None:
            words |= lens_words(setting, measures, lens, frame)
    return words
