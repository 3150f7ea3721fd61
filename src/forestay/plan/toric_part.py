"""What the plan says of a toric lens: not where it may not stay put; else what it would have to be."""

from __future__ import annotations

from forestay.calc.lens_input import prepare_target
from forestay.calc.toric_shelf import toric_box_for
from forestay.evidence import Reader
from forestay.frame import meridian_deg
from forestay.optics import astigmatism, toric
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.incision import Induced
from forestay.optics.lens_model import Measured
from forestay.plan.lens_around import method_of
from forestay.plan.lens_part import asked
from forestay.plan.margins_back import graft_spoken_of
from forestay.plan.mirror import Frame
from forestay.plan.offers import Offer
from forestay.plan.own_figures import own_shelf
from forestay.plan.prediction import Predictor, predictor
from forestay.text import tr


def toric_words(offer: Offer, frame: Frame, *, before: DoubleAngle, induced: Induced, use: Reader) -> str:
    """One sentence, or nothing where too little astigmatism would be left to matter."""
    setting, m = offer.setting, offer.measures
    incision = astigmatism.of_incision(flattening_d=induced.flattening_d, meridian_deg=meridian_deg(m.tunnel_clock))
    cornea = toric.total_cornea(before, constants=use.constants(toric.PosteriorConstants)) + incision
    left = float(cornea.magnitude_d)
    if left < use.number("toric.worth_d"):
        return ""
    why = _may_not_stay(offer)
    if why:
        return tr("No toric lens here: {why}. Glasses, or an incision elsewhere, for what is left.", why=", ".join(why))
    eye = predictor(setting.case, setting.estimates, use)
    if eye is None:
        return ""
    thin = eye.model.eye(Measured(eye.length.centre, eye.k_mean.centre, eye.chamber_depth_mm), eye.constant)
    scale = float(thin.corneal_power_d) / eye.k_mean.centre
    target = setting.case.target.refraction_d or 0.0
    cylinder = toric.lens_cylinder_d(eye=thin, corneal_cylinder_d=left * scale, target_d=target, constants=eye.vergence)
    says = tr(
        "With the back of the cornea counted, {left:.2f} D @ {axis:.0f} would be left: a toric lens would need"
        " {cylinder:.2f} D along {axis:.0f}. Each degree that it turns leaves {loss:.1%} of that.",
        left=left,
        axis=frame.axis(float(cornea.axis_deg)),
        cylinder=float(cylinder),
        loss=float(astigmatism.left_by_rotation(rotation_deg=1.0)),
    )
    return says + _from_shelf(offer, eye, target, left * scale, use)


def _from_shelf(offer: Offer, eye: Predictor, target_d: float, cylinder_d: float, use: Reader) -> str:
    """The toric box of the practice's shelf that leaves the least, or the word that there is none."""
    shelf = offer.context.lenses
    if shelf is None:
        return ""
    method = method_of(offer)
    shelf, _ = own_shelf(shelf, offer.context.practice.lenses, formula=eye.name, method=method, use=use)
    ready = prepare_target(asked(offer, eye, target_d), use)
    box = toric_box_for(ready, shelf, corneal_cylinder_d=cylinder_d, method=method, use=use)
    if box is None:
        return " " + tr("The shelf has no toric lens that would leave less.")
    return " " + tr(
        "From the shelf: {lens} {power:+.1f} D with {cylinder:.2f} D, leaving {left:.2f} D and {refraction:+.2f} D;"
        " read on its box whether the label is the spherical equivalent.",
        lens=box.lens.name,
        power=box.power_d,
        cylinder=box.cylinder_d,
        left=abs(box.left_d),
        refraction=box.refraction_d,
    )


def _may_not_stay(offer: Offer) -> list[str]:
    """Why a lens may turn or shift in this eye, or the cornea under it change."""
    why = []
    if offer.setting.weak:
        why.append(tr("the zonule is weak, and it may turn or sink"))
    if offer.setting.gap_hours:
        why.append(tr("there is a gap in the zonule"))
    if offer.measures.lens_position != "bag":
        why.append(tr("the lens is not planned for the bag"))
    if graft_spoken_of(offer):
        why.append(tr("a graft is spoken of, and it changes the cornea"))
    return why
