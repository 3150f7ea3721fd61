"""Margins of what is left behind: endothelium, hold of the lens, refraction."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from forestay.calc.endothelium import read_loss
from forestay.evidence import Reader
from forestay.eye.records import Technique
from forestay.plan.draws import Draws
from forestay.plan.model import Margin
from forestay.plan.offers import Change, Offer, best_change, known, margin_of, origin
from forestay.plan.prediction import nearest_power_d, predictor
from forestay.plan.spread import Spread
from forestay.risk import endothelium
from forestay.text import tr


def _grade(offer: Offer) -> float:
    grade = offer.setting.case.lens.grade
    return offer.setting.use.number("nucleus.mean_grade") if grade is None else grade


def count_and_loss(offer: Offer, technique: Technique, use: Reader) -> tuple[float, endothelium.Loss] | None:
    """Count before surgery [cells/mm2] and the loss expected of it; guttae lose a share more."""
    case = offer.setting.case
    count = case.biometry.endothelial_count_per_mm2
    if count is None:
        return None
    loss = read_loss(technique, _grade(offer), use, chamber_depth_mm=case.biometry.chamber_depth_mm)
    if case.signs.guttae:
        factor = use.number("corneal.guttae_loss_factor")
        mean = min(loss.mean * factor, loss.greatest)
        loss = endothelium.Loss(mean, loss.sd, loss.least, loss.greatest)
    return count, loss


def count_after(offer: Offer, technique: Technique, use: Reader) -> Spread | None:
    """Endothelial count after surgery [cells/mm2], with its draws."""
    known_loss = count_and_loss(offer, technique, use)
    if known_loss is None:
        return None
    count, loss = known_loss
    return _after(count, loss, offer.context.draws)


@lru_cache(maxsize=128)
def _after(count_per_mm2: float, loss: endothelium.Loss, draws: Draws) -> Spread:
    """Remembered: a plan asks each technique's count for its margin, its risks and its words."""
    centre = endothelium.mean_after(count_per_mm2=count_per_mm2, loss=loss)
    z = draws.normal("endothelial loss")
    return Spread(
        float(centre), np.asarray(endothelium.after_surgery(count_per_mm2=count_per_mm2, loss_z=z, loss=loss))
    )


def cornea_margin(offer: Offer) -> Margin | None:
    """Cells left against cells to keep."""
    use = offer.setting.use.evidence.reader()
    after = count_after(offer, offer.measures.technique, use)  # type: ignore[arg-type]
    if after is None:
        return None
    keep = use.number("need.count_per_mm2")
    offer.setting.use.merge(use)
    case = offer.setting.case
    others: tuple[Technique, ...] = ("manual-small-incision", "phacoemulsification", "extracapsular")
    gains = []
    for other in others:
        left = count_and_loss(offer, other, offer.setting.use)
        if other != offer.technique and left is not None:
            gains.append((endothelium.mean_after(count_per_mm2=left[0], loss=left[1]) - after.centre, other))
    best = max(gains, default=(0.0, ""))
    widen = best_change(
        after.centre,
        [Change(tr("by {technique} instead", technique=tr(best[1].replace("-", " "))), offer)],
        lambda _: after.centre + best[0],
    )
    if widen is None or widen.gain < offer.setting.use.number("rank.same_cells_per_mm2"):
        widen = None
    return margin_of(
        "cornea",
        tr("Cornea"),
        needs=Spread(keep, np.full_like(after.draws, keep)),
        has=after,
        unit=tr("cells/mm2"),
        says=tr("must keep {keep:,.0f} cells · {after:,.0f} after", keep=keep, after=after.centre),
        rests_on=("biometry.chamber_depth_mm", "biometry.endothelial_count_per_mm2", "lens.grade", "signs.guttae"),
        widen=widen,
        origin=origin(
            use,
            formula=tr("count x (1 - loss by technique and hardness) - cells to keep"),
            inputs=known(
                count=tr("{n:.0f} cells/mm2", n=case.biometry.endothelial_count_per_mm2),
                hardness=f"{_grade(offer):g}",
                technique=offer.technique,
            ),
            valid=tr("uncomplicated surgery; counts under 1,000 rest on two small series"),
            calculation="endothelium",
        ),
    )


def graft_spoken_of(offer: Offer) -> bool:
    """Whether so few cells are there, and are expected to be left, that the patient is told of a graft."""
    use, count = offer.setting.use, offer.setting.case.biometry.endothelial_count_per_mm2
    after = count_after(offer, offer.technique, use)  # type: ignore[arg-type]
    if count is None or after is None or count >= use.number("act.count_caution_per_mm2"):
        return False
    return after.centre < use.number("need.count_per_mm2")


def lens_margin(offer: Offer) -> Margin:
    """Healthy-equivalent clock hours against what the planned place of the lens asks. Ranks only."""
    use = offer.setting.use.evidence.reader()
    position, ring = offer.measures.lens_position, offer.measures.ring
    if position in ("anterior-chamber", "aphakia", "scleral"):
        needed = 0.0
    elif position == "bag":
        needed = use.number("need.bag_ring_support_hours" if ring != "none" else "need.bag_support_hours")
    else:
        needed = use.number("act.sulcus_support_hours")
    offer.setting.use.merge(use)
    has = offer.setting.estimates.support_hours
    changes = []
    if ring == "none" and position == "bag" and not offer.setting.lacks_kit("tension-ring"):
        with_ring = offer.setting.use.number("need.bag_ring_support_hours")
        changes.append(Change(tr("a tension ring"), offer.with_measures(ring="after-nucleus"), "ring", "after-nucleus"))
        widen = best_change(has.centre - needed, changes, lambda _: has.centre - with_ring)
    else:
        widen = None
    return margin_of(
        "lens",
        tr("Hold of the lens"),
        needs=Spread(needed, np.full_like(has.draws, needed)),
        has=has,
        unit=tr("clock hours"),
        says=tr(
            "{place} asks {needs:.0f} healthy clock hours · {has:.1f} estimated",
            place=tr(position.replace("-", " ")),
            needs=needed,
            has=has.centre,
        ),
        rests_on=("signs", "measure.ring", "measure.lens_position"),
        widen=widen,
        origin=origin(
            use,
            formula=tr("sum of the share of healthy support over 12 clock hours - hours asked"),
            inputs=known(place=position, ring=ring),
            valid=tr("ranks within this eye; predicts no outcome"),
            calculation="zonular-support",
        ),
        scale="comparative",
    )


def refraction_margin(offer: Offer) -> Margin | None:
    """Tolerance against the error to be expected: the share of draws within the tolerance of the target."""
    case, estimates = offer.setting.case, offer.setting.estimates
    use = offer.setting.use.evidence.reader()
    eye = predictor(case, estimates, use)
    if eye is None:
        return None
    target = target_d(offer)
    power = nearest_power_d(eye, target)
    optical = case.biometry.axial_length_method == "optical"
    tolerance = use.number("need.refraction_d")
    sd = eye.distance_sd_mm(weak=offer.setting.weak, optical=optical)
    drawn = eye.refraction_draws(power_d=power, distance_sd_mm=sd, draws=offer.context.draws)
    error = np.abs(drawn.draws - target)
    offer.setting.use.merge(use)
    needs = Spread(float(np.median(error)), error)
    widen = None
    if not optical:
        better = Spread.normal(
            estimates.length.centre if estimates.length else 0.0,
            use.number("ultrasound.immersion.sd_mm"),
            offer.context.draws.normal("axial length"),
        )
        again = replace(eye, length=better)
        other = again.refraction_draws(power_d=power, distance_sd_mm=sd, draws=offer.context.draws)
        gain = needs.centre - float(np.median(np.abs(other.draws - target)))
        widen = best_change(0.0, [Change(tr("repeat the length by immersion"), offer)], lambda _: gain)
    return margin_of(
        "refraction",
        tr("Refraction"),
        needs=needs,
        has=Spread(tolerance, np.full_like(error, tolerance)),
        unit="D",
        says=tr(
            "{target:+.2f} ± {tolerance:.1f} D · one SD of error {sd:.2f} D",
            target=target,
            tolerance=tolerance,
            sd=drawn.sd,
        ),
        rests_on=(
            "biometry.axial_length_mm",
            "biometry.axial_length_method",
            "biometry.k1_d",
            "biometry.k2_d",
            "target.lens_constant.a",
        ),
        widen=widen,
        origin=origin(
            use,
            formula=tr("tolerance - |refraction with {power:+.1f} D - target|, by {name}", power=power, name=eye.name),
            inputs=known(
                length=tr("{mm:.2f} mm", mm=eye.length.centre),
                k=tr("{d:.2f} D", d=eye.k_mean.centre),
                constant=f"{case.target.lens_constant.a if case.target.lens_constant else ''}",
                power=tr("{d:+.1f} D", d=power),
            ),
            valid=tr("lens in the bag"),
            calculation="lens-refraction",
        ),
    )


def target_d(offer: Offer) -> float:
    """The refraction aimed at [D]; plano where none is stated (said as a doubt by the lens part of the plan)."""
    wanted = offer.setting.case.target.refraction_d
    return 0.0 if wanted is None else wanted


MARGINS = (cornea_margin, lens_margin, refraction_margin)
