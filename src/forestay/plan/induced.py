"""What an incision does to this cornea's astigmatism, for the plan: prior means and their scatter, never a formula in length."""

from __future__ import annotations

from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.optics import astigmatism, incision
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.incision import IncisionPriors, Induced, OwnRecord, WeighingConstants
from forestay.plan.context import OwnIncision
from forestay.text import tr

USUAL_LENGTH = {
    "manual-small-incision": "size.tunnel_low_mm",
    "phacoemulsification": "size.tunnel_phaco_mm",
    "extracapsular": "size.wound_extracapsular_mm",
    "intracapsular": "size.wound_intracapsular_mm",
}
"""Row of the usual length by technique, where the length is not settled yet."""


def induced_by(
    technique: str,
    *,
    clock: float,
    shape: str,
    length_mm: float | None,
    use: Reader,
    own: tuple[OwnIncision, ...] = (),
) -> Induced:
    """Flattening along the incision's meridian [D] with one SD per component; the working frame is a right eye's.

    ``own``: the practice's own incisions; those of this technique, site and shape are weighed in.
    """
    published = incision.induced(
        kind=technique,
        site=incision.site_of(clock=clock, side="right"),
        shape=shape,
        length_mm=use.number(USUAL_LENGTH[technique]) if length_mm is None else length_mm,
        priors=use.constants(IncisionPriors),
    )
    mine = own_at(own, technique=technique, clock=clock, shape=shape)
    if mine is None:
        return published
    counted = OwnRecord(n=mine.n, mean_d=mine.mean_d, sd_d=mine.sd_d)
    weighed = incision.weighed(published, counted, constants=use.constants(WeighingConstants))
    return Induced(weighed.flattening_d, weighed.sd_d, published.doubts)


def own_at(own: tuple[OwnIncision, ...], *, technique: str, clock: float, shape: str) -> OwnIncision | None:
    """The own incisions of that technique, site and shape; None where there are none."""
    site = incision.site_of(clock=clock, side="right")
    return next((o for o in own if (o.technique, o.site, o.shape) == (technique, site, shape)), None)


def own_words(own: OwnIncision, *, published_d: float, use: Reader) -> str:
    """What the own incisions say, and what they weigh."""
    apart = use.constants(WeighingConstants).between_surgeons_sd_d
    weight = own.n * apart * apart / (own.n * apart * apart + own.sd_d * own.sd_d)
    return tr(
        "{n} own incisions like this flattened {mine:.2f} ± {sd:.2f} D, where published ones flatten {published:.2f} D;"
        " the own ones weigh {weight:.0%}.",
        n=own.n,
        mine=own.mean_d,
        sd=own.sd_d,
        published=published_d,
        weight=weight,
    )


def before(case: CaseFile) -> DoubleAngle | None:
    """The cornea's astigmatism as a double-angle vector [D]; None where a reading or an axis is lacking."""
    b = case.biometry
    if b.k1_d is None or b.k2_d is None or b.k1_axis_deg is None or b.k2_axis_deg is None:
        return None
    return astigmatism.of_readings(k1_d=b.k1_d, k1_axis_deg=b.k1_axis_deg, k2_d=b.k2_d, k2_axis_deg=b.k2_axis_deg)


def expected_residual_d(case: CaseFile, induced: Induced, meridian: float) -> float:
    """Root of the expected squared residual astigmatism [D]: |before + mean|^2 + 2 SD^2."""
    start = before(case)
    if start is None:
        return float("inf")
    after = start + astigmatism.of_incision(flattening_d=induced.flattening_d, meridian_deg=meridian)
    return float((float(after.magnitude_d) ** 2 + 2 * induced.sd_d**2) ** 0.5)
