"""Margin of the way out: the tunnel's lips against the girth of nucleus and instrument, on the common draws; absolute."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from forestay.mechanics import tunnel
from forestay.plan.draws import Draws
from forestay.plan.margins_front import MANUAL, WIDER_STEPS_MM, made
from forestay.plan.measures import tenth_up
from forestay.plan.model import Margin
from forestay.plan.offers import Change, Offer, best_change, known, margin_of, mm, origin
from forestay.plan.spread import Floats, Spread
from forestay.text import tr

TUNNEL_ROWS = ("tunnel.tissue_give", "size.tissue_give_sd", "tunnel.instrument_thickness_mm", "size.tunnel_chord_sd_mm")


def needed_lip(offer: Offer) -> Spread:
    """Lip length [mm] that nucleus and instrument ask of both lips."""
    use, estimates, draws = offer.setting.use, offer.setting.estimates, offer.context.draws
    give = use.number("tunnel.tissue_give"), use.number("size.tissue_give_sd")
    thickness = use.number("tunnel.instrument_thickness_mm") if offer.technique == MANUAL else 0.0
    return _lip(estimates.nucleus_diameter, estimates.nucleus_thickness, give, thickness, draws)


@lru_cache(maxsize=64)
def _lip(diameter: Spread, depth: Spread, give: tuple[float, float], thickness_mm: float, draws: Draws) -> Spread:
    """The lip for a nucleus; several parts of a plan ask for the same one, and so does each look at the eye."""
    gives = Spread.normal(*give, draws.normal("give"))

    def needed(d: float | Floats, t: float | Floats, s: float | Floats) -> float | Floats:
        return tunnel.needed_lip_mm(
            nucleus_diameter_mm=d, nucleus_thickness_mm=t, instrument_thickness_mm=thickness_mm, tissue_give=s
        )

    return Spread(
        float(needed(diameter.centre, depth.centre, gives.centre)),
        np.asarray(needed(diameter.draws, depth.draws, np.maximum(gives.draws, 1.0))),
    )


def outer_lip(offer: Offer, chord: float | Floats) -> float | Floats:
    """Outer lip unfolded [mm]."""
    m = offer.measures
    return tunnel.lip_length_mm(chord_mm=chord, sagitta_mm=m.tunnel_sagitta_mm, shape=m.tunnel_shape)


def tunnel_margin(offer: Offer) -> Margin | None:
    """The shorter of outer lip (unfolded) and inner lip against the girth of nucleus and instrument."""
    if offer.technique in ("phacoemulsification", "intracapsular"):
        return None
    m = offer.measures
    use = offer.setting.use.evidence.reader()
    needs = needed_lip(offer)
    chord = made(offer, m.tunnel_outer_mm, "size.tunnel_chord_sd_mm", "tunnel chord")
    for key in TUNNEL_ROWS:
        use.row(key)
    offer.setting.use.merge(use)
    inner_more = m.tunnel_inner_mm - m.tunnel_outer_mm
    floor = m.tunnel_outer_mm / 2 + m.tunnel_sagitta_mm

    def shorter(c: float | Floats) -> float | Floats:
        outer = outer_lip(offer, np.maximum(c, floor))
        inner = np.asarray(c) + inner_more
        return np.minimum(outer, inner) if offer.technique == MANUAL else np.asarray(outer)

    has = Spread(float(shorter(chord.centre)), np.asarray(shorter(chord.draws)))
    outer_now = float(outer_lip(offer, m.tunnel_outer_mm))
    which = tr("inner lip") if m.tunnel_inner_mm < outer_now else tr("outer lip")
    says = tr(
        "nucleus needs {needs:.1f} mm of lip · {which} {has:.1f}", needs=needs.centre, which=which, has=has.centre
    )
    estimates = offer.setting.estimates
    return margin_of(
        "tunnel",
        tr("Tunnel") if offer.technique == MANUAL else tr("Wound"),
        needs=needs,
        has=has,
        unit="mm",
        says=says,
        rests_on=("lens.grade", "lens.appearance", "measure.tunnel_chord_mm"),
        widen=best_change(has.centre - needs.centre, tunnel_changes(offer), tunnel_gain(needs.centre)),
        origin=origin(
            use,
            formula=tr("shorter lip - girth of nucleus and instrument / (2 x give)"),
            inputs=known(
                nucleus=tr(
                    "{d:.1f} x {t:.1f} mm", d=estimates.nucleus_diameter.centre, t=estimates.nucleus_thickness.centre
                ),
                chord=mm(m.tunnel_outer_mm),
                shape=m.tunnel_shape,
                inner=mm(m.tunnel_inner_mm),
            ),
            valid=tr("a flat slit whose lips unfold wholly; a nucleus that is not squeezed"),
            calculation="tunnel",
        ),
    )


def tunnel_gain(needs: float) -> Callable[[Offer], float]:
    """The shorter lip of an offer less ``needs`` [mm]."""

    def gives(other: Offer) -> float:
        m = other.measures
        outer = float(outer_lip(other, m.tunnel_outer_mm))
        return min(outer, m.tunnel_inner_mm) - needs if other.technique == MANUAL else outer - needs

    return gives


def tunnel_changes(offer: Offer) -> list[Change]:
    """What lengthens the lips."""
    m, use = offer.measures, offer.setting.use
    longer = tenth_up(m.tunnel_outer_mm + WIDER_STEPS_MM)
    gain = m.tunnel_inner_mm - m.tunnel_outer_mm
    changes = [
        Change(
            tr("{mm:.1f} mm chord", mm=longer),
            offer.with_measures(tunnel_outer_mm=longer, tunnel_inner_mm=longer + gain),
            "tunnel_chord_mm",
            longer,
        )
    ]
    if offer.technique == MANUAL and m.tunnel_shape == "straight":
        sagitta = use.number("tunnel.sagitta_mm")
        changed = offer.with_measures(tunnel_shape="frown", tunnel_sagitta_mm=sagitta)
        changes.append(Change(tr("a frown of {mm:.1f} mm", mm=sagitta), changed))
    return changes


MARGINS = (tunnel_margin,)
