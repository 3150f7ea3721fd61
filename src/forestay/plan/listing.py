"""The eye and its estimates as lists for page and sheet."""

from __future__ import annotations

from typing import Any

from forestay.answer import Doubt
from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.plan.mirror import Frame
from forestay.plan.model import Estimate, Origin
from forestay.plan.offers import known, origin
from forestay.plan.setting import Setting
from forestay.plan.spread import Spread
from forestay.text import tr


def eye_listed(case: CaseFile) -> dict[str, Any]:
    """Side, person and what was recorded, in plain types, without what is not known."""
    listed = {section: record.model_dump(exclude_none=True, mode="json") for section, record in case}
    return {"side": case.eye.side, "label": tr("{side} eye", side=tr(case.eye.side)).capitalize()} | listed


def estimates_listed(setting: Setting, frame: Frame) -> tuple[Estimate, ...]:
    """Every estimate with its interval and what stands behind it."""
    del frame  # no estimate that is listed has a side
    e, case = setting.estimates, setting.case
    b = case.biometry
    rows: list[Estimate | None] = [
        _row(
            "axial-length",
            tr("length used"),
            e.length,
            "mm",
            _origin(
                setting,
                ("lens_error.optical_length_sd_mm", "ultrasound.immersion.sd_mm", "ultrasound.contact.sd_mm"),
                formula=tr("measured length; contact: + mean compression"),
                valid=tr("14 to 40 mm"),
                inputs=known(measured=b.axial_length_mm, method=b.axial_length_method),
                calculation="ultrasound-length",
            ),
        ),
        _row("nucleus-diameter", tr("nucleus, diameter"), e.nucleus_diameter, "mm", _nucleus_origin(setting)),
        _row("nucleus-thickness", tr("nucleus, thickness"), e.nucleus_thickness, "mm", _nucleus_origin(setting)),
        _row(
            "bag-diameter",
            tr("bag, diameter"),
            e.bag_diameter,
            "mm",
            _origin(
                setting,
                ("bag_size.intercept_mm", "bag_size.residual_sd_mm"),
                formula=tr("3.44 - 0.056 K + 0.713 AL - 0.0135 AL^2"),
                valid=tr("length 20 to 27 mm"),
                inputs=known(length=e.length.centre if e.length else None, k=e.k_mean.centre if e.k_mean else None),
                calculation="bag-diameter",
            ),
        ),
        _row(
            "zonule",
            tr("zonule, healthy-equivalent clock hours"),
            e.support_hours,
            tr("of 12"),
            _origin(
                setting,
                ("zonule_signs.grade_counts", "zonule_signs.share.weak"),
                formula=tr("sum over 12 hours of the share of healthy support"),
                valid=tr("support by grade is assumed"),
                inputs=known(grade=e.grade, weak=f"{e.weak_probability:.0%}"),
                calculation="zonular-support",
            ),
        ),
        _row(
            "room",
            tr("room in the chamber under OVD"),
            e.room,
            "mm",
            _origin(
                setting,
                ("chamber.ovd_gain_mm", "chamber.ovd_gain_sd_mm"),
                formula=tr("chamber depth - cornea + deepening by OVD"),
                valid=tr("40 eyes"),
                inputs=known(depth=b.chamber_depth_mm, cornea=e.corneal_thickness_um),
                calculation="chamber",
            ),
        ),
    ]
    return tuple(r for r in rows if r is not None)


def _row(name: str, label: str, spread: Spread | None, unit: str, source: Origin) -> Estimate | None:
    if spread is None:
        return None
    return Estimate(name, label, spread.centre, spread.low, spread.high, unit, source)


def _origin(
    setting: Setting, rows: tuple[str, ...], *, formula: str, valid: str, inputs: Any, calculation: str
) -> Origin:
    own: Reader = setting.use.evidence.reader()
    for key in rows:
        own.row(key)
    return origin(own, formula=formula, inputs=inputs, valid=valid, calculation=calculation)


def _nucleus_origin(setting: Setting) -> Origin:
    lens = setting.case.lens
    return _origin(
        setting,
        (
            "nucleus.mean_diameter_mm",
            "nucleus.mean_thickness_mm",
            "nucleus.colour_diameter_correlation",
            "nucleus.grade_sd",
        ),
        formula=tr("mean + correlation with colour x SD x (grade - mean grade)"),
        valid=tr("130 extracted nuclei, over 40 years"),
        inputs=known(grade=lens.grade, appearance=lens.appearance, thickness=setting.case.biometry.lens_thickness_mm),
        calculation="nucleus",
    )


def unsaid_doubts(case: CaseFile) -> list[Doubt]:
    """What was taken for granted because the case file does not say it."""
    doubts = []
    theatre = case.theatre
    if theatre.has is None:
        doubts.append(Doubt("kit-unknown", tr("What the theatre has is not stated; all kit was planned as available.")))
    if theatre.dominant_hand is None:
        doubts.append(Doubt("hand-unknown", tr("The surgeon's dominant hand is not stated; right was taken.")))
    if theatre.techniques is None:
        doubts.append(
            Doubt("techniques-unknown", tr("The techniques of this theatre are not stated; all were considered."))
        )
    if theatre.anaesthesia is None:
        doubts.append(
            Doubt("anaesthesia-unknown", tr("The anaesthetics of this theatre are not stated; all were considered."))
        )
    if theatre.surgeon_grade is None:
        doubts.append(
            Doubt(
                "grade-of-surgeon-unknown",
                tr("The surgeon's grade is not stated; the risk is averaged over the published mix."),
            )
        )
    unseen = [name for name, value in case.signs if value is None]
    if unseen:
        doubts.append(
            Doubt(
                "signs-not-recorded",
                tr("Not recorded, and neither taken as present nor as absent: {names}.", names=", ".join(unseen)),
            )
        )
    return doubts
