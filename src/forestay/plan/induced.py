"""What an incision does to this cornea's astigmatism, for the plan: prior means and their scatter, never a formula in length."""

from __future__ import annotations

from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.optics import astigmatism, incision
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.incision import IncisionPriors, Induced

USUAL_LENGTH = {
    "manual-small-incision": "size.tunnel_low_mm",
    "phacoemulsification": "size.tunnel_phaco_mm",
    "extracapsular": "size.wound_extracapsular_mm",
    "intracapsular": "size.wound_intracapsular_mm",
}
"""Row of the usual length by technique, where the length is not settled yet."""


def induced_by(technique: str, *, clock: float, shape: str, length_mm: float | None, use: Reader) -> Induced:
    """Flattening along the incision's meridian [D] with one SD per component; the working frame is a right eye's."""
    return incision.induced(
        kind=technique,
        site=incision.site_of(clock=clock, side="right"),
        shape=shape,
        length_mm=use.number(USUAL_LENGTH[technique]) if length_mm is None else length_mm,
        priors=use.constants(IncisionPriors),
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
