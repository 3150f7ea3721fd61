"""What helps at a step where a size or the hold of the lens fails: each measure tried, best first by the margin gained.

A cue names its margin. Where seeing it means that the eye is not as it was planned for, the margin is worked out for
that eye: a pupil that has come down, a nucleus one standard deviation larger. Only centres are asked; the ropes of the
plan carry the intervals.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from forestay.mechanics import chamber, relaxing_cuts, tunnel
from forestay.mechanics.chamber import ChamberConstants
from forestay.mechanics.relaxing_cuts import RelaxingCutConstants
from forestay.mechanics.support_search_model import gain_rank
from forestay.plan.margins_front import (
    MANUAL,
    WIDER_STEPS_MM,
    central_circle,
    needed_opening,
    pupil_changes,
)
from forestay.plan.margins_tunnel import tunnel_changes, tunnel_gain
from forestay.plan.measures import can_tip, tenth_down, tenth_up
from forestay.plan.mirror import Frame
from forestay.plan.model_steps import Remedy, Shift
from forestay.plan.offers import WORTH_TOLERANCE, Change, Offer
from forestay.plan.spread import Spread
from forestay.plan.supports import SMALL, left_after, left_label, wider_gap
from forestay.text import tr

SLICES = 3
"""Into so many a nucleus is divided that has no room whole."""
SHOWN = 3
"""So many measures are told at a cue."""


@dataclass(frozen=True)
class Tried:
    """How the finding moves the margin, which measures were tried against it, and what they are judged by."""

    shifts: tuple[Shift, ...]
    remedies: tuple[Remedy, ...]
    judged_by: str | None
    says: str = ""
    """What else it means, where that is no number."""


NOTHING = Tried((), (), None)


def tried(margin: str, offer: Offer, frame: Frame) -> Tried:
    """The measures for a margin by its name; nothing where this eye or technique has no such margin."""
    if margin == "zonule":
        return _zonule(offer, frame)
    return _MARGINS[margin](offer)


def _told(gains: Sequence[tuple[str, float, bool | None]], unit: str, digits: int = 1) -> tuple[Remedy, ...]:
    rows = [
        Remedy(
            words, gain, unit, here, tr("{words} ({gain} {unit})", words=words, gain=f"{gain:+.{digits}f}", unit=unit)
        )
        for words, gain, here in gains
        if gain > WORTH_TOLERANCE and here is not False
    ]
    return tuple(sorted(rows, key=lambda r: gain_rank(r.gain))[:SHOWN])


def _shift(label: str, before: float, after: float, under: str) -> tuple[Shift, ...]:
    if abs(before - after) <= WORTH_TOLERANCE:
        return ()
    says = tr("{label} {a:+.1f} to {b:+.1f} mm {under}", label=label, a=before, b=after, under=under)
    return (Shift(label, before, after, "mm", says),)


def _gained(changes: Sequence[Change], gives: Callable[[Offer], float], now: float) -> list[tuple[str, float]]:
    return [(c.words, gives(c.offer) - now) for c in changes]


def _pupil(offer: Offer) -> Tried:
    now, opening = offer.setting.estimates.pupil, offer.measures.capsulorhexis_mm
    if now is None or opening is None:
        return NOTHING
    use = offer.setting.use
    clearance, down = use.number("size.rhexis_clearance_mm"), use.number("cue.pupil_down_mm")

    def gives(other: Offer) -> float:
        return central_circle(other) - (other.measures.capsulorhexis_mm or 0.0) - clearance

    under = _with(offer, pupil=Spread(min(now.centre, down), np.minimum(now.draws, down)))
    before, after = gives(offer), gives(under)
    smaller = tenth_down(opening - WIDER_STEPS_MM)
    changes = [*pupil_changes(under)]
    if not under.measures.pupil_hooks:
        more = pupil_changes(changes[0].offer) if changes else []
        changes += more[:1]
    here = None if offer.setting.case.theatre.has is None else not offer.setting.lacks_kit("iris-hooks")
    gains = [(words, gain, here) for words, gain in _gained(changes, gives, after)]
    less = tr("an opening of {mm:.1f} mm", mm=smaller)
    gains.append((less, gives(under.with_measures(capsulorhexis_mm=smaller)) - after, None))
    return Tried(
        _shift(tr("pupil margin"), before, after, tr("at a pupil of {mm:.1f} mm", mm=min(now.centre, down))),
        _told(gains, "mm"),
        tr("circle in view less opening and clearance"),
    )


def _larger(offer: Offer) -> Offer:
    """The same eye with a nucleus one standard deviation larger than estimated."""
    e = offer.setting.estimates
    d, t = e.nucleus_diameter, e.nucleus_thickness
    return _with(
        offer,
        nucleus_diameter=Spread(d.centre + d.sd, d.draws + d.sd),
        nucleus_thickness=Spread(t.centre + t.sd, t.draws + t.sd),
    )


def _larger_words() -> str:
    return tr("with a nucleus one standard deviation larger")


def _with(offer: Offer, **estimates: Spread) -> Offer:
    changed = replace(offer.setting.estimates, **estimates)  # type: ignore[arg-type]
    return replace(offer, setting=replace(offer.setting, estimates=changed))


def _capsulorhexis(offer: Offer) -> Tried:
    opening = offer.measures.capsulorhexis_mm
    if opening is None or offer.technique == "phacoemulsification":
        return NOTHING
    under = _larger(offer)
    before = opening - needed_opening(offer)[0].centre
    after = opening - needed_opening(under)[0].centre
    gains: list[tuple[str, float, bool | None]] = []
    for step in (WIDER_STEPS_MM, 2 * WIDER_STEPS_MM):
        wider = tenth_up(opening + step)
        gains.append((tr("the edge spiralled to {mm:.1f} mm", mm=wider), wider - opening, None))
    if offer.measures.ring == "none" and not offer.setting.weak:
        longest = relaxing_cuts.longest_cut_mm(
            capsulorhexis_mm=opening,
            bag_diameter_mm=offer.setting.estimates.bag_diameter.centre,
            constants=offer.setting.use.constants(RelaxingCutConstants),
        )
        cut = tenth_down(min(2 * WIDER_STEPS_MM, float(longest)))
        if cut > 0:
            girth = float(relaxing_cuts.gained_girth_mm(cuts=2, cut_mm=cut))
            words = tr("two relaxing cuts of {mm:.1f} mm, at most, and no ring afterwards", mm=cut)
            gains.append((words, girth / np.pi, None))
    return Tried(
        _shift(tr("capsulorhexis margin"), before, after, _larger_words()),
        _told(gains, "mm"),
        tr("opening less what the nucleus needs"),
    )


def _tunnel(offer: Offer) -> Tried:
    if offer.technique in ("phacoemulsification", "intracapsular"):
        return NOTHING
    under = _larger(offer)
    needs = [_lip(o) for o in (offer, under)]
    before, after = (tunnel_gain(n)(o) for n, o in zip(needs, (offer, under), strict=True))
    further = [c for change in tunnel_changes(under)[:1] for c in tunnel_changes(change.offer)[:1]]
    gains: list[tuple[str, float, bool | None]] = [
        (words, gain, None) for words, gain in _gained([*tunnel_changes(under), *further], tunnel_gain(needs[1]), after)
    ]
    halves = needs[1] - _lip(under, halves=True)
    gains.append((tr("the nucleus in two halves, each lengthwise"), halves, None))
    if offer.technique == MANUAL:
        gains.append((tr("no loop under it: press it out on OVD or fluid"), needs[1] - _lip(under, loop=False), None))
    return Tried(
        _shift(
            tr("tunnel margin") if offer.technique == MANUAL else tr("wound margin"), before, after, _larger_words()
        ),
        _told(gains, "mm"),
        tr("shorter lip less girth of nucleus and instrument"),
    )


def _lip(offer: Offer, *, halves: bool = False, loop: bool = True) -> float:
    """Lip [mm] that the nucleus, whole or halved along its length, asks of both lips."""
    use, e = offer.setting.use, offer.setting.estimates
    return float(
        tunnel.needed_lip_mm(
            nucleus_diameter_mm=e.nucleus_diameter.centre / (2 if halves else 1),
            nucleus_thickness_mm=e.nucleus_thickness.centre,
            instrument_thickness_mm=use.number("tunnel.instrument_thickness_mm")
            if loop and offer.technique == MANUAL
            else 0.0,
            tissue_give=use.number("tunnel.tissue_give"),
        )
    )


def _needed_to_tip(offer: Offer) -> float:
    e = offer.setting.estimates
    return float(
        chamber.needed_to_tip_mm(
            nucleus_diameter_mm=e.nucleus_diameter.centre,
            nucleus_thickness_mm=e.nucleus_thickness.centre,
            constants=offer.setting.use.constants(ChamberConstants),
        )
    )


def _chamber(offer: Offer) -> Tried:
    """The room under the cornea, judged with a larger nucleus: it stands on edge higher, and lies thicker."""
    e = offer.setting.estimates
    if e.room is None or offer.technique != MANUAL:
        return NOTHING
    under = _larger(offer)
    if not can_tip(offer.setting):
        return _chamber_flat(e.room.centre, offer, under)
    needs = [_needed_to_tip(o) for o in (offer, under)]
    thick = under.setting.estimates.nucleus_thickness.centre
    flat = tr("flat, not on its edge, through a larger opening")
    gains: list[tuple[str, float, bool | None]] = [(flat, needs[1] - thick, None)]
    shifts = _shift(tr("chamber margin"), e.room.centre - needs[0], e.room.centre - needs[1], _larger_words())
    return Tried(shifts, _told(gains, "mm"), tr("room under OVD less what the nucleus needs on its edge"))


def _chamber_flat(room: float, offer: Offer, under: Offer) -> Tried:
    """Where the nucleus comes forward flat already: what is left is to divide it and turn the slices on their side."""
    thick = [o.setting.estimates.nucleus_thickness.centre for o in (offer, under)]
    slice_mm = under.setting.estimates.nucleus_diameter.centre / SLICES
    gains: list[tuple[str, float, bool | None]] = [
        (tr("the nucleus in {n} slices, each on its narrow side", n=SLICES), thick[1] - slice_mm, None)
    ]
    shifts = _shift(tr("chamber margin, flat"), room - thick[0], room - thick[1], _larger_words())
    return Tried(shifts, _told(gains, "mm"), tr("room under OVD less what the nucleus needs flat"))


def _lens(offer: Offer) -> Tried:
    """Places of the lens and a ring, by healthy clock hours asked; what holds a lens without the zonule asks none."""
    m, setting = offer.measures, offer.setting
    if m.lens_position != "bag":
        return NOTHING
    use = setting.use
    ringed = m.ring != "none"
    asked = use.number("need.bag_ring_support_hours" if ringed else "need.bag_support_hours")

    def here(kit: str) -> bool | None:
        return None if setting.case.theatre.has is None else not setting.lacks_kit(kit)

    gains: list[tuple[str, float, bool | None]] = []
    if not ringed and m.relaxing_cuts == 0:
        gained = asked - use.number("need.bag_ring_support_hours")
        gains.append((tr("a tension ring, behind a whole rim"), gained, here("tension-ring")))
    sulcus = asked - use.number("act.sulcus_support_hours")
    gains.append((tr("three-piece lens in the sulcus"), sulcus, here("three-piece-lens")))
    if not any(gain > WORTH_TOLERANCE for _, gain, _ in gains):  # the ladder of no support goes on from there
        gains.append((tr("a lens fixed without the bag, or none today"), asked, None))
    estimated = setting.estimates.support_mean
    before, after = (
        float(sum(s)) - asked for s in (estimated, wider_gap(tuple(float(v) for v in estimated), m.tunnel_clock))
    )
    says = tr(
        "hold of the lens {a:+.1f} to {b:+.1f} healthy clock hours {under}",
        a=before,
        b=after,
        under=_under_gap(offer),
    )
    shift = Shift(tr("hold of the lens"), before, after, tr("clock hours"), says)
    return Tried(
        (shift,), _told(gains, tr("clock hours"), 0), tr("healthy clock hours that the place of the lens asks")
    )


def _under_gap(offer: Offer) -> str:
    """The gap under which the empty bag is judged: a planned one wider, or one where none was known."""
    if offer.setting.estimates.gap_hours:
        return tr("with a gap two clock hours wider")
    return tr("should a gap of two clock hours show")


def _zonule(offer: Offer, frame: Frame) -> Tried:
    """Supports that can still go in, judged with the gap wider than estimated."""
    if offer.technique not in SMALL or offer.measures.lens_position != "bag":
        return NOTHING
    estimated = tuple(float(v) for v in offer.setting.estimates.support_mean)
    expected, found = (
        left_after(offer, estimated, bare=True),
        left_after(offer, wider_gap(estimated, offer.measures.tunnel_clock)),
    )
    rows = [
        Remedy(
            label,
            r.gain,
            tr("reserve of the fibres"),
            None,
            tr("{what} ({r:+.0%} of reserve against none)", what=label, r=r.gain),
        )
        for r in found.rows
        if r.held and r.gain > WORTH_TOLERANCE
        for label in (left_label(r, frame),)
    ]
    under = _under_gap(offer)
    shifts: tuple[Shift, ...] = ()
    if expected.bare is not None and found.bare is not None:
        a, b = expected.bare, found.bare
        says = tr("reserve of the fibres {a:+.0%} to {b:+.0%} {under}", a=a, b=b, under=under)
        shifts = (Shift(tr("reserve of the fibres"), a, b, "", says),)
    lost = "" if found.bare is not None else tr("{under} the bag is not held without support", under=under)
    best = tuple(rows[:SHOWN])
    judged = tr("what the most stretched fibre bears as the lens goes in, {under}", under=under)
    return Tried(shifts, best, judged if best else None, lost)


_MARGINS: dict[str, Callable[[Offer], Tried]] = {
    "pupil": _pupil,
    "capsulorhexis": _capsulorhexis,
    "tunnel": _tunnel,
    "chamber": _chamber,
    "lens": _lens,
}
CUE_MARGINS = (*_MARGINS, "zonule")
"""What a cue of the rules may name as its margin."""
