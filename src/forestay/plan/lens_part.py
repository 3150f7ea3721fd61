"""The plan's lens: power by position with its error, and whether the position is allowed in this eye."""

from __future__ import annotations

from statistics import NormalDist
from typing import cast

from forestay.answer import Doubt
from forestay.calc.lens import LensPositionsInput, lens_positions_calculation
from forestay.calc.lens_input import ConstantInput, FormulaName
from forestay.errors import InvalidInput
from forestay.plan.measures import anterior_chamber_allowed
from forestay.plan.model import LensPlan, LensPosition
from forestay.plan.offers import Offer, known, origin
from forestay.plan.prediction import DEFAULT_STEP_D, predictor
from forestay.text import tr

NORMAL_90_LIMIT = NormalDist().inv_cdf(0.95)
"""Half width of a central 90 % in standard deviations."""
LABELS = {
    "bag": "bag",
    "sulcus": "sulcus, three-piece",
    "optic-capture": "sulcus, optic captured",
    "scleral": "fixed to the sclera",
    "retropupillary-iris": "behind the iris, claw",
    "anterior-chamber": "anterior chamber",
    "aphakia": "none: spectacles",
}


def lens_plan(offer: Offer) -> tuple[LensPlan, list[Doubt]]:
    """Powers for every place that the day may need; empty with the reason where length, K or constant lack."""
    setting = offer.setting
    case, estimates = setting.case, setting.estimates
    wanted = case.target.refraction_d
    doubts: list[Doubt] = []
    if wanted is None:
        doubts.append(Doubt("target-plano", tr("No target refraction is stated; plano was taken.")))
    target = 0.0 if wanted is None else wanted
    use = setting.use.evidence.reader()
    eye = predictor(case, estimates, use)
    lacking = estimates.lacks["refraction"]
    if eye is None or estimates.length is None:
        why = (
            tr("no power without {names}", names=", ".join(lacking))
            if lacking
            else tr("no formula answers for this eye")
        )
        return LensPlan(None, None, None, target, (), (why,)), doubts
    given = LensPositionsInput(
        formula=cast(FormulaName, eye.name),
        axial_length_mm=estimates.length.centre,
        k1_d=case.biometry.k1_d or 0.0,
        k2_d=case.biometry.k2_d or 0.0,
        chamber_depth_mm=case.biometry.chamber_depth_mm,
        constant=ConstantInput(a=float(eye.constant.a)),
        target_d=target,
        step_d=DEFAULT_STEP_D,
        axial_length_method=case.biometry.axial_length_method or "ultrasound-contact",
    )
    try:
        answer, more = lens_positions_calculation.function(given, use)
    except InvalidInput as wrong:  # of these inputs only the constant can put a lens where none can lie
        raise InvalidInput(
            wrong.message, field="target.lens_constant.a", value=given.constant.a, allowed=wrong.allowed
        ) from None
    setting.use.merge(use)
    doubts += [d for d in more if d.code != "contact-length-as-given"]
    source = origin(
        use,
        formula=tr("{name}: lens distance, then thin-lens vergence; other places by shift of the lens", name=eye.name),
        inputs=known(
            length=tr("{mm:.2f} mm", mm=estimates.length.centre),
            k=tr("{a:.2f} / {b:.2f} D", a=given.k1_d, b=given.k2_d),
            constant=f"A {float(eye.constant.a):g}",
            target=tr("{d:+.2f} D", d=target),
        ),
        valid=tr("formula by length; backup places rest on few series"),
        calculation="lens-positions",
    )
    rows = []
    for row in answer.positions:
        best = min(row.choices, key=lambda c: abs(c.refraction_d - target))
        allowed = {
            "anterior-chamber": anterior_chamber_allowed(setting),
            "sulcus": not setting.lacks_kit("three-piece-lens"),
        }.get(row.position, True)
        rows.append(
            LensPosition(
                position=row.position,
                label=tr(LABELS[row.position]),
                power_d=None if row.position == "aphakia" else row.power_d,
                choices=tuple({"power_d": c.power_d, "refraction_d": c.refraction_d} for c in row.choices),
                sd_d=row.sd_d,
                low_d=best.refraction_d - NORMAL_90_LIMIT * row.sd_d,
                high_d=best.refraction_d + NORMAL_90_LIMIT * row.sd_d,
                note=row.note,
                allowed=allowed,
                origin=source,
            )
        )
    says = (tr("{name} at {mm:.2f} mm; A {a:g}", name=eye.name, mm=estimates.length.centre, a=float(eye.constant.a)),)
    return LensPlan(eye.name, estimates.length.centre, estimates.length.sd, target, tuple(rows), says), doubts


def best_choice(plan: LensPlan, position: str) -> tuple[float, float] | None:
    """Made power [D] nearest the target in that position and its refraction [D]; None where there is none."""
    row = next((p for p in plan.positions if p.position == position), None)
    if row is None or not row.choices:
        return None
    best = min(row.choices, key=lambda c: abs(c["refraction_d"] - plan.target_d))
    return best["power_d"], best["refraction_d"]
