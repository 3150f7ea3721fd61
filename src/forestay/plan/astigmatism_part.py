"""The plan's astigmatism: what the cornea has, what the incision adds, what is left."""

from __future__ import annotations

from forestay.answer import Doubt
from forestay.evidence import Reader
from forestay.frame import meridian_deg
from forestay.optics import astigmatism
from forestay.plan.induced import before, induced_by, own_at, own_words
from forestay.plan.mirror import Frame
from forestay.plan.model import Astigmatism
from forestay.plan.offers import Offer, known, origin
from forestay.plan.place_part import place_words
from forestay.plan.toric_part import toric_words
from forestay.text import tr


def astigmatism_plan(offer: Offer, frame: Frame) -> tuple[Astigmatism, list[Doubt]]:
    """Before and after the incision; axes are given in the eye's own frame."""
    setting, m = offer.setting, offer.measures
    use = setting.use.evidence.reader()
    induced = induced_by(
        offer.technique,
        clock=m.tunnel_clock,
        shape=m.tunnel_shape,
        length_mm=m.tunnel_outer_mm,
        use=use,
        own=setting.own_incisions,
    )
    own_says = _own_says(offer, use)
    setting.use.merge(use)
    start = before(setting.case)
    meridian = meridian_deg(m.tunnel_clock)
    clock = frame.hour(m.tunnel_clock)
    inputs = known(
        incision=tr(
            "{mm:.1f} mm {shape} at {clock:g} o'clock", mm=m.tunnel_outer_mm, shape=tr(m.tunnel_shape), clock=clock
        ),
    )
    source = origin(
        use,
        formula=tr("double-angle vector before + flattening along the incision's meridian"),
        inputs=inputs,
        valid=tr("mean and spread of published series by place and suture; length is not extrapolated"),
        calculation="tunnel",
    )
    flattening = induced.flattening_d
    if start is None:
        says = tr(
            "The incision flattens its meridian by about {d:.2f} ± {sd:.2f} D; K readings with axes are lacking.",
            d=flattening,
            sd=induced.sd_d,
        )
        return Astigmatism(None, None, flattening, induced.sd_d, None, None, says, source, own_says=own_says), list(
            induced.doubts
        )
    after = start + astigmatism.of_incision(flattening_d=flattening, meridian_deg=meridian)
    had, left = float(start.magnitude_d), float(after.magnitude_d)
    had_axis, left_axis = frame.axis(float(start.axis_deg)), frame.axis(float(after.axis_deg))
    says = tr(
        "{had:.2f} D @ {had_axis:.0f} before; the incision at {clock:g} o'clock flattens {f:.2f} ± {sd:.2f} D along {meridian:.0f}: {left:.2f} D @ {left_axis:.0f} expected",
        had=had,
        had_axis=had_axis,
        clock=clock,
        f=flattening,
        sd=induced.sd_d,
        meridian=frame.axis(meridian) % 180,
        left=left,
        left_axis=left_axis,
    )
    toric_use = setting.use.evidence.reader()
    toric_says = toric_words(offer, frame, before=start, induced=induced, use=toric_use)
    if toric_says:
        setting.use.merge(toric_use)
    found = Astigmatism(
        had,
        had_axis,
        flattening,
        induced.sd_d,
        left,
        left_axis,
        says,
        source,
        toric_says,
        place_words(offer, frame, use),
        own_says,
    )
    return found, list(induced.doubts)


def _own_says(offer: Offer, use: Reader) -> str:
    """What the practice's own incisions of this kind did; empty where there are none."""
    m, setting = offer.measures, offer.setting
    mine = own_at(setting.own_incisions, technique=offer.technique, clock=m.tunnel_clock, shape=m.tunnel_shape)
    if mine is None:
        return ""
    published = induced_by(
        offer.technique, clock=m.tunnel_clock, shape=m.tunnel_shape, length_mm=m.tunnel_outer_mm, use=use
    )
    return own_words(mine, published_d=published.flattening_d, use=use)
