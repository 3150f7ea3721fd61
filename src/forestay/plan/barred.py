"""Where round the limbus this plan leaves no room for a capsule hook: its tunnel and its iris hooks."""

from __future__ import annotations

from forestay.calc.support_barred import BarredInput, stab_hours
from forestay.mechanics.ports import DEGREES_PER_HOUR, tunnel_arc_at_limbus_deg
from forestay.mechanics.ports_model import PortConstants
from forestay.mechanics.tunnel import arc_deg
from forestay.plan.measures import BESIDE_TUNNEL_HOURS, SCLERAL
from forestay.plan.offers import Offer


def barred(offer: Offer) -> tuple[BarredInput, ...]:
    """The arcs, in the working frame. Beside a tunnel through which a nucleus passes whole no hook stands either."""
    m, use = offer.measures, offer.setting.use.evidence.reader()
    across = offer.setting.case.biometry.white_to_white_mm or use.number("anatomy.white_to_white_mm")
    tunnel = tunnel_arc_at_limbus_deg(
        outer_chord_mm=m.tunnel_outer_mm,
        distance_from_limbus_mm=m.tunnel_distance_mm,
        inner_chord_mm=m.tunnel_inner_mm,
        inner_lip_length_mm=use.number("size.tunnel_cornea_low_mm"),
        white_to_white_mm=across,
    )
    hours = tunnel / DEGREES_PER_HOUR
    if offer.technique in SCLERAL:
        hours = max(hours, 2 * (BESIDE_TUNNEL_HOURS - stab_hours(use)))
    width = use.constants(PortConstants).hook_width_mm
    hook = float(arc_deg(chord_mm=width, distance_from_limbus_mm=0, white_to_white_mm=across)) / DEGREES_PER_HOUR
    return (
        BarredInput(clock=m.tunnel_clock, arc_hours=hours, reason="tunnel"),
        *(BarredInput(clock=clock, arc_hours=hook, reason="iris hook") for clock in m.hook_clocks),
    )
