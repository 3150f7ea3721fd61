"""What the drawings need of a plan, in the eye's own clock hours."""

from __future__ import annotations

from forestay.eye.records import CaseFile
from forestay.plan.margins_front import pupil_opening
from forestay.plan.mirror import Frame
from forestay.plan.model import Drawing
from forestay.plan.offers import Offer
from forestay.plan.place_part import seat_words
from forestay.plan.setting import Setting
from forestay.plan.zonule_loads import Loads


def drawing_of(case: CaseFile, setting: Setting, offer: Offer | None, loads: Loads | None, frame: Frame) -> Drawing:
    """Sizes of this eye, its zonule and the resting load by clock hour."""
    e, use = setting.estimates, setting.use
    opening = pupil_opening(offer) if offer else None
    clock = loads.displacement_clock if loads else None
    return Drawing(
        side=frame.side,
        seat=case.theatre.seat or "superior",
        white_to_white_mm=case.biometry.white_to_white_mm or use.number("anatomy.white_to_white_mm"),
        pupil_mm=case.signs.pupil_dilated_mm,
        nucleus_diameter_mm=e.nucleus_diameter.centre,
        nucleus_thickness_mm=e.nucleus_thickness.centre,
        bag_diameter_mm=e.bag_diameter.centre,
        lens_thickness_mm=case.biometry.lens_thickness_mm,
        chamber_depth_mm=case.biometry.chamber_depth_mm,
        corneal_thickness_um=e.corneal_thickness_um,
        chamber_room_mm=e.room.centre if e.room else None,
        ovd_gain_mm=e.ovd_gain.centre,
        opening_circle_mm=opening.centre if opening else None,
        zonule=frame.by_hour(tuple(float(v) for v in e.support_mean)),
        load=frame.by_hour(loads.rest_by_hour) if loads else (1.0,) * 12,
        gaps=frame.hours(e.gap_hours),
        displacement_mm=loads.displacement_mm if loads else 0.0,
        displacement_clock=frame.hour(clock) if clock is not None else None,
        seat_says=seat_words(offer, frame, use.evidence.reader()) if offer else "",
    )
