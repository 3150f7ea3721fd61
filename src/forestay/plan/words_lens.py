"""Words about the lens of this eye: powers by position, what to do, what else could hold one."""

from __future__ import annotations

from typing import Any

from forestay.eye.records import CaseFile
from forestay.plan.lens_part import best_choice, box_name
from forestay.plan.measures import anterior_chamber_allowed
from forestay.plan.mirror import Frame
from forestay.plan.model import LensPlan, Measures
from forestay.plan.setting import Setting
from forestay.plan.words_clock import span_text
from forestay.text import tr


def _power_text(choice: tuple[float, float] | None) -> str | None:
    """A power as read aloud: a minus is said in words, since a sign is overheard."""
    if choice is None:
        return None
    if choice[0] < 0:
        return tr("minus {power:.1f} D", power=-choice[0])
    return tr("{power:+.1f} D", power=choice[0])


def _with_box(lens: LensPlan, position: str, choice: tuple[float, float] | None) -> str | None:
    """A power with the lens that it belongs to, where the shelf named one: no other lens may be opened at it."""
    power = _power_text(choice)
    box = next((p.box for p in lens.positions if p.position == position and p.box_is_near), None)
    return power if power is None or box is None else f"{power} ({box.kind}: {box.lens})"


def anterior_reason(case: CaseFile, setting: Setting) -> str:
    """What forbids a lens before the iris, of what is known."""
    use, reasons = setting.use, []
    count, depth = case.biometry.endothelial_count_per_mm2, case.biometry.chamber_depth_mm
    if count is not None and count < use.number("act.count_caution_per_mm2"):
        reasons.append(tr("{n:.0f} cells/mm2", n=count))
    if depth is not None and depth < use.number("act.shallow_chamber_mm"):
        reasons.append(tr("a chamber of {mm:.2f} mm", mm=depth))
    if case.signs.trauma:
        reasons.append(tr("an injury: the angle may be damaged"))
    if case.signs.glaucoma:
        reasons.append(tr("glaucoma"))
    if case.signs.guttae:
        reasons.append(tr("guttae"))
    return ", ".join(reasons)


def lens_words(setting: Setting, measures: Measures, lens: LensPlan, frame: Frame) -> dict[str, Any]:
    """Powers by position, what to do with the lens, and what else could hold one."""
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
            "{power} into the {place}: {refraction:+.2f} D expected.",
            power=_power_text(chosen),
            place=place,
            refraction=chosen[1],
        )
    model = box_name(lens, measures.lens_position)
    if model and chosen is not None:
        do += " " + tr("Box: {model}.", model=model)
    if gap and measures.lens_position in ("bag", "sulcus"):
        do += " " + _haptics(setting, measures, gap)
    return {
        "words.bag_power": _power_text(bag),
        "words.sulcus_power": _power_text(sulcus),
        "words.sulcus_lens": _sulcus_lens(lens),
        "words.sulcus_hold": _sulcus_hold(setting, lens),
        "words.sulcus_rim": _sulcus_rim(setting, measures, lens),
        "words.capture": _capture(setting, measures),
        "words.sulcus_power_or_none": (_power_text(sulcus) or tr("power not known"))
        if has_three_piece
        else tr("no three-piece lens is here"),
        "words.anterior_power": _power_text(anterior),
        "words.anterior_fallback": _anterior_fallback(setting, _power_text(anterior), allowed=allowed),
        "measure.lens_power_d": chosen[0] if chosen and measures.lens_position != "aphakia" else None,
        "words.power_planned": _power_text(chosen),
        "words.power_boxed": model,
        "words.lens_said": _lens_said(measures.lens_position, chosen, place),
        "words.iris_or_scleral": tr(
            "fixed to the sclera {a} or behind the iris {b}, by a surgeon used to it",
            a=_with_box(lens, "scleral", scleral) or "",
            b=_with_box(lens, "retropupillary-iris", iris) or "",
        ),
        "words.aphakia_refraction": tr("{d:+.1f} D", d=none[1]) if none else tr("not known"),
        "words.lens_do": do,
    }


def _haptics(setting: Setting, measures: Measures, gap: str) -> str:
    """Where the haptics come to lie: along the gap in a bag that is held there, else on sound quadrants only."""
    held = measures.ring != "none" or setting.gap_hours > setting.use.number("act.ring_plain_hours")
    if measures.lens_position == "bag" and held:
        return tr("Haptics along the weak axis: one presses the bag outward at {gap}.", gap=gap)
    return tr("Haptics on sound quadrants, not across {gap}.", gap=gap)


def _sulcus_lens(lens: LensPlan) -> str:
    """The lens that the power for the sulcus was worked out for: the box on the shelf, else a three-piece lens."""
    return box_name(lens, "sulcus") or tr("three-piece lens")


def _sulcus_hold(setting: Setting, lens: LensPlan) -> str:
    """What the sulcus can hold by the healthy clock hours estimated: a lens, a sutured one, or none."""
    if setting.lacks_kit("three-piece-lens"):
        return tr("no three-piece lens is here")
    use, hours = setting.use, setting.estimates.support_hours.centre
    asks, sutured = use.number("act.sulcus_support_hours"), use.number("act.sulcus_sutured_hours")
    said, name = _power_text(best_choice(lens, "sulcus")) or tr("power not known"), _sulcus_lens(lens)
    if hours >= asks:
        return tr(
            "{lens} in the sulcus on sound quadrants ({asks:g} healthy hours): {power}",
            lens=name,
            asks=asks,
            power=said,
        )
    if hours >= sutured:
        return tr(
            "{lens} in the sulcus only sutured ({hours:.1f} of {asks:g} healthy hours): {power}",
            lens=name,
            hours=hours,
            asks=asks,
            power=said,
        )
    return tr(
        "no lens in the sulcus: {hours:.1f} of {asks:g} healthy hours",
        hours=hours,
        asks=asks,
    )


def _sulcus_rim(setting: Setting, measures: Measures, lens: LensPlan) -> str:
    """The sulcus behind a rim that holds, and whether that rim captures the optic."""
    said, use = _sulcus_hold(setting, lens), setting.use
    if setting.lacks_kit("three-piece-lens") or (
        setting.estimates.support_hours.centre < use.number("act.sulcus_sutured_hours")
    ):
        return said
    return f"{said}; {_capture(setting, measures)}"


def _capture(setting: Setting, measures: Measures) -> str:
    """Whether the opening captures the optic."""
    opening = measures.capsulorhexis_mm
    if opening is not None and opening <= setting.use.number("size.capture_high_mm"):
        return tr("optic captured behind the opening")
    return tr("no capture of the optic, the opening is too wide for it")


def _lens_said(position: str, chosen: tuple[float, float] | None, place: str) -> str:
    if position == "aphakia":
        return tr("no lens is planned")
    if chosen is None:
        return tr("lens power not worked out")
    return tr("lens {power} for the {place}", power=_power_text(chosen), place=place)


def _anterior_fallback(setting: Setting, power: str | None, *, allowed: bool) -> str:
    if allowed:
        return tr("anterior chamber lens {power}", power=power or tr("power not known"))
    if setting.lacks_kit("anterior-chamber-lens"):
        return tr("no anterior chamber lens is here")
    reason = anterior_reason(setting.case, setting)
    if reason:
        return tr("no anterior chamber lens: {why}", why=reason)
    return tr("no anterior chamber lens before cell count, chamber and angle are known")
