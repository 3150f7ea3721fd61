"""Where the incision lies, argued: what another free place would leave, and whether the surgeon sits at it."""

from __future__ import annotations

from forestay.evidence import Reader
from forestay.frame import hour_distance, meridian_deg, temporal_hour
from forestay.plan.induced import before, expected_residual_d, induced_by
from forestay.plan.measures import LARGE, free_places
from forestay.plan.mirror import Frame
from forestay.plan.offers import Offer
from forestay.plan.words_clock import clock_text
from forestay.text import tr

BESIDE_HOURS = 2.0
"""A surgeon reaches an incision so far from the seat."""


def left_at(offer: Offer, place: float, use: Reader) -> float:
    """Astigmatism to be expected [D] with the same incision at another place."""
    m = offer.measures
    induced = induced_by(
        offer.technique,
        clock=place,
        shape=m.tunnel_shape,
        length_mm=m.tunnel_outer_mm,
        use=use,
        own=offer.setting.own_incisions,
    )
    return expected_residual_d(offer.setting.case, induced, meridian_deg(place))


def place_words(offer: Offer, frame: Frame, use: Reader) -> str:
    """Where another free place would leave clearly less, or nothing; what the seat changes is not in it."""
    m, setting = offer.measures, offer.setting
    if offer.technique in LARGE or setting.decisions.tunnel_clock is not None:
        return ""
    here = left_at(offer, m.tunnel_clock, use)
    left = {place: left_at(offer, place, use) for place in free_places(setting, offer.technique)}
    best = min(left, key=lambda place: left[place])
    if here - left[best] <= use.number("rank.same_astigmatism_d"):
        return ""
    return tr(
        "At {place} o'clock the same incision would leave {less:.2f} D, not {here:.2f} D (scatter counted); it is moved there"
        " unasked only from {from_d:.1f} D of corneal astigmatism.",
        place=clock_text(frame.hour(best)),
        less=left[best],
        here=here,
        from_d=use.number("act.steep_astigmatism_d"),
    )


def seat_words(offer: Offer, frame: Frame, use: Reader) -> str:
    """Both ends of a choice where the seat is not at the incision, or nothing. No number of the plan follows from it."""
    setting, at = offer.setting, offer.measures.tunnel_clock
    seat = setting.case.theatre.seat
    if seat is None or before(setting.case) is None:
        return ""
    sits = temporal_hour("right") if seat == "temporal" else 12.0
    if hour_distance(at, sits) <= BESIDE_HOURS:
        return ""
    return tr(
        "The seat is noted as {seat} and the incision lies at {at} o'clock: sit there for it, or settle it at {sits} o'clock,"
        " which would leave {left:.2f} D instead of {here:.2f} D (scatter counted).",
        seat=tr(seat),
        at=clock_text(frame.hour(at)),
        sits=clock_text(frame.hour(sits)),
        left=left_at(offer, sits, use),
        here=left_at(offer, at, use),
    )
