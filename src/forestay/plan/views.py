"""The flat view that rules look at: facts, estimates, measures, words. Hours in it are the eye's own."""

from __future__ import annotations

from typing import Any

from forestay.eye.records import CaseFile
from forestay.eye.view import flat
from forestay.plan.margins_front import needed_lip, pupil_opening
from forestay.plan.measures import Setting
from forestay.plan.model import Measures
from forestay.plan.offers import Offer


def eye_view(case: CaseFile, setting: Setting) -> dict[str, Any]:
    """Facts of the case as recorded, and the estimates. ``case`` is the eye's own; ``setting`` the working frame's."""
    e = setting.estimates
    view = flat(case)
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
    return view


def measure_view(offer: Offer) -> dict[str, Any]:
    """What an option would use, by name."""
    m: Measures = offer.measures
    opening = pupil_opening(offer)
    values: dict[str, Any] = {
        "option.technique": m.technique,
        "measure.anaesthetic": m.anaesthetic,
        "measure.pupil_hooks": m.pupil_hooks,
        "measure.pupil_hooks_next": max(m.pupil_hooks + 1, int(offer.setting.use.number("size.hooks_least"))),
        "measure.hook_reach_mm": m.hook_reach_mm,
        "measure.capsulorhexis_mm": m.capsulorhexis_mm,
        "measure.capsule_hooks": len(m.capsule_hook_clocks),
        "measure.any_hooks": m.pupil_hooks + len(m.capsule_hook_clocks),
        "measure.ring": m.ring,
        "measure.relaxing_cuts": m.relaxing_cuts,
        "measure.tunnel_outer_mm": m.tunnel_outer_mm,
        "measure.tunnel_inner_mm": m.tunnel_inner_mm,
        "measure.tunnel_distance_mm": m.tunnel_distance_mm,
        "measure.lens_position": m.lens_position,
        "measure.dye": m.dye,
        "estimate.opening_mm": opening.centre if opening else None,
        "estimate.needed_lip_mm": needed_lip(offer).centre,
    }
    return {k: v for k, v in values.items() if v is not None}
