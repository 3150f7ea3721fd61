"""The flat view that rules look at: facts, estimates, measures, words. Hours in it are the eye's own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from forestay.eye.plausibility import Finding
from forestay.eye.records import CaseFile
from forestay.eye.view import flat
from forestay.frame import hour_distance
from forestay.plan.margins_back import count_after
from forestay.plan.margins_front import MANUAL, needed_opening, pupil_opening
from forestay.plan.margins_tunnel import needed_lip, outer_lip
from forestay.plan.measures import BESIDE_TUNNEL_HOURS, under_pressure
from forestay.plan.model import Measures
from forestay.plan.offers import Offer
from forestay.plan.setting import Setting
from forestay.plan.words import SHORT_TOLERANCE_MM
from forestay.text import tr


def eye_view(case: CaseFile, setting: Setting) -> dict[str, Any]:
    """Facts of the case as recorded, and the estimates. ``case`` is the eye's own; ``setting`` the working frame's."""
    e = setting.estimates
    view = flat(case) | setting.now.view
    estimates: dict[str, Any] = {
        "nucleus_diameter_mm": e.nucleus_diameter.centre,
        "nucleus_thickness_mm": e.nucleus_thickness.centre,
        "bag_diameter_mm": e.bag_diameter.centre,
        "zonule_weak_probability": e.weak_probability,
        "zonule_grade": e.grade,
        "gap_hours": float(len(e.gap_hours)),
        "support_hours": e.support_hours.centre,
        "room_mm": e.room.centre if e.room else None,
        "needed_mm": e.needed_to_tip.centre,
        "length_mm": e.length.centre if e.length else None,
    }
    view.update({f"estimate.{k}": v for k, v in estimates.items() if v is not None})
    view["progress.begun"] = bool(setting.now.done or setting.now.happened) or any(
        v is not None for _, v in case.surgery
    )
    return view


def check_view(findings: Sequence[Finding]) -> dict[str, Any]:
    """What is to be measured or looked at again, by the keys of its checks."""
    return {"checks.recheck": tuple(f.key for f in findings if f.level == "recheck")}


def measure_view(offer: Offer) -> dict[str, Any]:
    """What an option would use, by name."""
    m: Measures = offer.measures
    opening = pupil_opening(offer)
    after = count_after(offer, m.technique, offer.setting.use)  # type: ignore[arg-type]
    values: dict[str, Any] = {
        "option.technique": m.technique,
        "measure.anaesthetic": m.anaesthetic,
        "measure.pupil_hooks": m.pupil_hooks,
        "measure.pupil_hooks_next": max(m.pupil_hooks + 1, int(offer.setting.use.number("size.hooks_least"))),
        "measure.hook_reach_mm": m.hook_reach_mm,
        "measure.capsulorhexis_mm": m.capsulorhexis_mm,
        "measure.capsule_hooks": len(m.capsule_hook_clocks),
        "measure.any_hooks": m.pupil_hooks + len(m.capsule_hook_clocks),
        "measure.hooks_by_tunnel": sum(hour_distance(c, m.tunnel_clock) <= BESIDE_TUNNEL_HOURS for c in m.hook_clocks),
        "measure.ring": m.ring,
        "measure.relaxing_cuts": m.relaxing_cuts,
        "measure.tunnel_outer_mm": m.tunnel_outer_mm,
        "measure.tunnel_inner_mm": m.tunnel_inner_mm,
        "measure.tunnel_distance_mm": m.tunnel_distance_mm,
        "measure.lens_position": m.lens_position,
        "measure.dye": m.dye,
        "estimate.opening_mm": opening.centre if opening else None,
        "measure.pupil_room_mm": _pupil_room_mm(offer),
        "estimate.needed_lip_mm": needed_lip(offer).centre,
        "estimate.count_after_per_mm2": after.centre if after else None,
        "words.pupil_view": _pupil_view(offer),
        "words.rim_rule": _rim_rule(offer),
        "words.lip": _lip(offer),
        "words.suture_long": tr(", planned if the tunnel was lengthened") if _lip_short_mm(offer) else "",
    }
    return {k: v for k, v in values.items() if v is not None}


def _pupil_room_mm(offer: Offer) -> float | None:
    """Circle in view less the opening and its clearance [mm]; None where either is not known."""
    opening, m = pupil_opening(offer), offer.measures
    if opening is None or m.capsulorhexis_mm is None:
        return None
    return opening.centre - m.capsulorhexis_mm - offer.setting.use.number("size.rhexis_clearance_mm")


def _pupil_view(offer: Offer) -> str:
    room = _pupil_room_mm(offer)
    if room is None or room >= -SHORT_TOLERANCE_MM:
        return ""
    if under_pressure(offer.setting.case):
        return tr("; {mm:.1f} mm short: the opening stays inside it until the pressure is off", mm=-room)
    return tr("; {mm:.1f} mm short: move the iris aside and keep the edge in sight", mm=-room)


def _rim_rule(offer: Offer) -> str | None:
    """What the opening must be for this nucleus, and what to do where it is short: ring or cut, settled beforehand."""
    m = offer.measures
    if m.capsulorhexis_mm is None:
        return None
    need, way = needed_opening(offer)
    needs = {
        "tipped": tr("Tipped on edge it needs {mm:.1f} mm.", mm=need.centre),
        "flat": tr("Flat it needs {mm:.1f} mm.", mm=need.centre),
        "divided": tr("Its pieces need {mm:.1f} mm.", mm=need.centre),
    }[way]
    cut = (
        tr("by a spiral, never by a cut, since a ring is planned")
        if m.ring != "none"
        else tr("by a spiral, or one or two relaxing cuts and then no ring; or divide the nucleus")
    )
    short = need.centre - m.capsulorhexis_mm
    if short > SHORT_TOLERANCE_MM:
        return tr(
            "{needs} Short by {mm:.1f} mm: widen it before anything is lifted, {cut}.", needs=needs, mm=short, cut=cut
        )
    return tr("{needs} If it is found tight: widen it {cut}.", needs=needs, cut=cut)


def _lip_short_mm(offer: Offer) -> float:
    """By how much both lips of a tunnel are short of nucleus and vectis [mm]; 0 where they are not."""
    m = offer.measures
    if offer.technique != MANUAL:
        return 0.0
    short = needed_lip(offer).centre - min(float(outer_lip(offer, m.tunnel_outer_mm)), m.tunnel_inner_mm)
    return short if short > SHORT_TOLERANCE_MM else 0.0


def _lip(offer: Offer) -> str:
    """What both lips must give, and what to do where they do not."""
    m, need = offer.measures, needed_lip(offer).centre
    if offer.technique != MANUAL:
        return ""
    has, short = min(float(outer_lip(offer, m.tunnel_outer_mm)), m.tunnel_inner_mm), _lip_short_mm(offer)
    said = tr("Nucleus and vectis need {need:.1f} mm of lip; {has:.1f} mm are there.", need=need, has=has)
    if short:
        longest = offer.setting.use.number("size.tunnel_high_mm")
        said += " " + tr(
            "Short by {mm:.1f} mm: divide it, or lengthen both lips past {longest:.1f} mm and suture.",
            mm=short,
            longest=longest,
        )
    return said
