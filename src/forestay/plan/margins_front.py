"""Margins on the way to the nucleus: pupil, capsulorhexis, chamber. Geometry on the common draws; absolute."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from forestay.mechanics import capsulorhexis, pupil
from forestay.mechanics.chamber import ChamberConstants
from forestay.mechanics.pupil import PupilConstants
from forestay.plan.draws import Draws
from forestay.plan.iris_hooks import circle_in_view_mm, from_tunnel, hook_clocks
from forestay.plan.measures import can_tip, tenth_up, tolerated_stretch
from forestay.plan.model import Margin
from forestay.plan.offers import Change, Offer, best_change, known, margin_of, mm, origin
from forestay.plan.spread import Floats, Spread
from forestay.text import tr

MANUAL = "manual-small-incision"
HOURS_PER_RADIAN = 6 / np.pi
WIDER_STEPS_MM = 0.5
"""How far a size is moved when the change that widens a margin most is looked for [mm]."""


def made(offer: Offer, size_mm: float, row: str, stream: str) -> Spread:
    """A size as the hand makes it: planned, with the spread of making it."""
    use = offer.setting.use
    return Spread.normal(size_mm, use.number(row), offer.context.draws.normal(stream))


def pupil_opening(offer: Offer) -> Spread | None:
    """Diameter of the largest circle in view [mm], with hooks where they are planned."""
    now, m = offer.setting.estimates.pupil, offer.measures
    if now is None:
        return None
    if m.pupil_hooks == 0 or m.hook_reach_mm is None:
        return now
    scatter = offer.setting.use.constants(PupilConstants)
    return _on_hooks(
        clocks=from_tunnel(m.hook_clocks, m.tunnel_clock),
        reach_mm=m.hook_reach_mm,
        pupil_mm=now.centre,
        pupils=now.draws.tobytes(),
        scatter=scatter,
        count=offer.context.draws.count,
    )


@lru_cache(maxsize=64)
def _on_hooks(
    *, clocks: tuple[float, ...], reach_mm: float, pupil_mm: float, pupils: bytes, scatter: PupilConstants, count: int
) -> Spread:
    """The opening on hooks; several parts of a plan ask for the same one."""
    draws, hooks = Draws(count), len(clocks)
    names = [f"hook {i}" for i in range(hooks)]
    reach = reach_mm + scatter.hook_reach_sd_mm * np.stack([draws.normal(f"{n} reach") for n in names])
    angle = scatter.hook_angle_sd_rad * np.stack([draws.normal(f"{n} angle") for n in names]) * HOURS_PER_RADIAN
    centre = pupil.opening_circle_mm(clocks=clocks, reach_mm=[reach_mm] * hooks, pupil_mm=pupil_mm)
    circles = np.array(
        pupil.opening_circle_mm(
            clocks=clocks,
            reach_mm=np.maximum(reach, reach_mm / 4),
            pupil_mm=np.frombuffer(pupils),
            clock_scatter_hours=angle,
        )
    )
    circles.setflags(write=False)
    return Spread(float(centre), circles)


def pupil_margin(offer: Offer) -> Margin | None:
    """Capsulorhexis plus clearance against the circle in view. A short one warns and never forbids."""
    opening, m = pupil_opening(offer), offer.measures
    if opening is None or m.capsulorhexis_mm is None:
        return None
    use = offer.setting.use.evidence.reader()
    clearance = use.number("size.rhexis_clearance_mm")
    use.constants(PupilConstants)
    size = made(offer, m.capsulorhexis_mm, "size.rhexis_sd_mm", "capsulorhexis")
    needs = Spread(size.centre + clearance, size.draws + clearance)
    use.number("size.rhexis_sd_mm"), use.number("spread.pupil_mm")
    offer.setting.use.merge(use)

    def gives(other: Offer) -> float:
        circle = central_circle(other)
        return circle - (other.measures.capsulorhexis_mm or 0.0) - clearance

    given = (
        tr("{count} hooks give {mm:.1f}", count=m.pupil_hooks, mm=opening.centre)
        if m.pupil_hooks
        else tr("the pupil gives {mm:.1f}", mm=opening.centre)
    )
    return margin_of(
        "pupil",
        tr("Pupil"),
        needs=needs,
        has=opening,
        unit="mm",
        says=tr("needs {needs:.1f} mm in view · {given}", needs=needs.centre, given=given),
        rests_on=("signs.pupil_dilated_mm", "measure.capsulorhexis_mm", "measure.pupil_hooks"),
        widen=best_change(opening.centre - needs.centre, pupil_changes(offer), gives),
        origin=origin(
            use,
            formula=tr("largest circle in the opening - (capsulorhexis + clearance)"),
            inputs=known(
                pupil=mm(offer.setting.estimates.pupil.centre if offer.setting.estimates.pupil else 0.0),
                hooks=m.pupil_hooks,
                reach=mm(m.hook_reach_mm) if m.hook_reach_mm else None,
                capsulorhexis=mm(m.capsulorhexis_mm),
                clearance=mm(clearance),
            ),
            valid=tr("straight edge between hooks; an iris that does not tear"),
            calculation="pupil",
        ),
    )


def central_circle(offer: Offer) -> float:
    """The largest circle in view without any scatter [mm]."""
    m = offer.measures
    return circle_in_view_mm(offer.setting, m.pupil_hooks, m.hook_reach_mm, m.tunnel_clock) or 0.0


def pupil_changes(offer: Offer) -> list[Change]:
    """What shows more of the lens: another hook, or hooks drawn farther."""
    m, use = offer.measures, offer.setting.use
    most, least = int(use.number("size.hooks_most")), int(use.number("size.hooks_least"))
    far, near = use.number("size.hook_reach_high_mm"), use.number("size.hook_reach_mm")
    changes = []
    more = least if m.pupil_hooks < least else m.pupil_hooks + 1
    if more <= most:
        clocks = hook_clocks(more, m.tunnel_clock, wide=offer.technique == MANUAL)
        changed = offer.with_measures(pupil_hooks=more, hook_clocks=clocks, hook_reach_mm=m.hook_reach_mm or near)
        words = tr("{count} hooks", count=more)
        changes.append(Change(words, changed, "pupil_hooks", more))
    if m.pupil_hooks and m.hook_reach_mm and m.hook_reach_mm < far:
        words = tr("hooks drawn to {mm:.1f} mm", mm=far)
        changes.append(Change(words, offer.with_measures(hook_reach_mm=far), "hook_reach_mm", far))
    return changes


def needed_opening(offer: Offer) -> tuple[Spread, str]:
    """The opening that the nucleus needs [mm], and whether it is to pass ``tipped`` or ``flat``."""
    estimates, stretch = offer.setting.estimates, tolerated_stretch(offer.setting)
    diameter, thickness = estimates.nucleus_diameter, estimates.nucleus_thickness
    if offer.technique == "phacoemulsification":
        low = offer.setting.use.number("size.rhexis_phaco_low_mm")
        return Spread(low, np.full_like(diameter.draws, low)), "divided"
    if can_tip(offer.setting) and offer.technique == MANUAL:
        return _tipped(diameter, thickness, stretch), "tipped"
    return _flat(diameter, stretch), "flat"


@lru_cache(maxsize=64)
def _tipped(diameter: Spread, thickness: Spread, stretch: float) -> Spread:
    """The opening for a nucleus on its edge; kept, for each look at the eye asks again."""

    def needed(d: float | Floats, t: float | Floats) -> float | Floats:
        return capsulorhexis.minimum_tipped_mm(nucleus_diameter_mm=d, nucleus_thickness_mm=t, tolerated_stretch=stretch)

    return Spread(float(needed(diameter.centre, thickness.centre)), np.asarray(needed(diameter.draws, thickness.draws)))


@lru_cache(maxsize=64)
def _flat(diameter: Spread, stretch: float) -> Spread:
    """The opening for a nucleus that lies flat."""

    def needed(d: float | Floats) -> float | Floats:
        return capsulorhexis.minimum_flat_mm(nucleus_diameter_mm=d, tolerated_stretch=stretch)

    return Spread(float(needed(diameter.centre)), np.asarray(needed(diameter.draws)))


def capsulorhexis_margin(offer: Offer) -> Margin | None:
    """The opening against what the nucleus needs to come through it at the tolerated stretch."""
    m = offer.measures
    if m.capsulorhexis_mm is None:
        return None
    use = offer.setting.use.evidence.reader()
    needs, way = needed_opening(offer)
    has = made(offer, m.capsulorhexis_mm, "size.rhexis_sd_mm", "capsulorhexis")
    use.number("size.rhexis_sd_mm")
    stretch = use.number("size.stretch_weak" if offer.setting.weak else "size.stretch_sound")
    for key in ("nucleus.mean_diameter_mm", "nucleus.diameter_sd_mm", "nucleus.colour_diameter_correlation"):
        use.row(key)
    offer.setting.use.merge(use)
    wider = tenth_up(m.capsulorhexis_mm + WIDER_STEPS_MM)
    changes = [
        Change(
            tr("{mm:.1f} mm opening", mm=wider), offer.with_measures(capsulorhexis_mm=wider), "capsulorhexis_mm", wider
        )
    ]
    note = "" if m.ring == "none" else tr("a relaxing cut would rule out the ring")
    widen = best_change(
        has.centre - needs.centre, changes, lambda other: (other.measures.capsulorhexis_mm or 0.0) - needs.centre
    )
    estimates = offer.setting.estimates
    says = {
        "tipped": tr("nucleus needs {needs:.1f} tipped · {has:.1f} planned", needs=needs.centre, has=has.centre),
        "flat": tr("nucleus needs {needs:.1f} flat · {has:.1f} planned", needs=needs.centre, has=has.centre),
        "divided": tr("pieces need {needs:.1f} · {has:.1f} planned", needs=needs.centre, has=has.centre),
    }[way]
    return margin_of(
        "capsulorhexis",
        tr("Capsulorhexis"),
        needs=needs,
        has=has,
        unit="mm",
        says=" · ".join(part for part in (says, note) if part),
        rests_on=("lens.grade", "lens.appearance", "biometry.chamber_depth_mm", "measure.capsulorhexis_mm"),
        widen=widen,
        origin=origin(
            use,
            formula=tr("tipped: girth of the nucleus on edge / (pi x stretch); flat: its diameter / stretch"),
            inputs=known(
                nucleus=tr(
                    "{d:.1f} x {t:.1f} mm", d=estimates.nucleus_diameter.centre, t=estimates.nucleus_thickness.centre
                ),
                stretch=f"{stretch:g}",
                opening=mm(m.capsulorhexis_mm),
            ),
            valid=tr("a smooth ellipsoid through a continuous round rim; epinucleus ignored"),
            calculation="capsulorhexis",
        ),
    )


def chamber_margin(offer: Offer) -> Margin | None:
    """Room in the chamber: to tip the nucleus by hand, or the depth that phacoemulsification wants."""
    estimates = offer.setting.estimates
    if estimates.room is None or estimates.chamber_depth is None or offer.technique == "intracapsular":
        return None
    use = offer.setting.use.evidence.reader()
    if offer.technique == "phacoemulsification":
        limit = use.number("need.chamber_phaco_mm")
        needs, has = Spread(limit, np.full(offer.context.draws.count, limit)), estimates.chamber_depth
        says = tr("wants {needs:.1f} mm of depth · {has:.2f} measured", needs=limit, has=has.centre)
        formula, valid = (
            tr("chamber depth before surgery - depth under which complications rose"),
            tr("174 eyes with pseudoexfoliation"),
        )
        widen = None
        use.number("spread.chamber_mm")
    else:
        constants = use.constants(ChamberConstants)
        needs, has = estimates.needed_to_tip, estimates.room
        bare = has.centre - constants.ovd_gain_mm
        says = tr(
            "needs {needs:.1f} mm to tip · {bare:.1f} + {gain:.1f} with OVD",
            needs=needs.centre,
            bare=bare,
            gain=constants.ovd_gain_mm,
        )
        formula = tr(
            "chamber depth - cornea + deepening by OVD - (half the nucleus + {extra:g} mm)",
            extra=constants.tipping_extra_mm,
        )
        valid = tr("room below the opening 6 mm; nucleus 7 to 9 mm")
        gain = has.centre - needs.centre
        widen = None
        if gain < 0:
            flat = has.centre - estimates.nucleus_thickness.centre
            words = (
                tr("deliver flat through a larger opening; refill before each lift")
                if flat >= 0
                else tr("flat through a larger opening, still {mm:.1f} mm short: refill, or divide it", mm=-flat)
            )
            widen = best_change(
                gain,
                [Change(words, offer)],
                lambda _: flat,
            )
    if offer.setting.case.lens.appearance == "intumescent":
        says = tr("{says} · the swollen lens takes room: judge again when its fluid is out", says=says)
    offer.setting.use.merge(use)
    return margin_of(
        "chamber",
        tr("Chamber"),
        needs=needs,
        has=has,
        unit="mm",
        says=says,
        rests_on=("biometry.chamber_depth_mm", "biometry.corneal_thickness_um", "lens.grade", "lens.appearance"),
        widen=widen,
        origin=origin(
            use,
            formula=formula,
            inputs=known(
                depth=tr("{mm:.2f} mm", mm=estimates.chamber_depth.centre),
                cornea=tr("{um:.0f} micrometres", um=estimates.corneal_thickness_um),
                nucleus=tr(
                    "{d:.1f} x {t:.1f} mm", d=estimates.nucleus_diameter.centre, t=estimates.nucleus_thickness.centre
                ),
            ),
            valid=valid,
            calculation="chamber",
        ),
    )


MARGINS = (pupil_margin, capsulorhexis_margin, chamber_margin)
