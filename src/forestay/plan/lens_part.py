"""The plan's lens: power by position with its error, and whether the position is allowed in this eye."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from statistics import NormalDist
from typing import cast

from forestay.answer import Doubt
from forestay.calc.lens_input import ConstantInput, FormulaName
from forestay.calc.lens_positions import LensInPosition, LensPositionsInput, lens_positions_calculation
from forestay.errors import InvalidInput
from forestay.evidence import EvidenceSet, Reader
from forestay.optics.lens_kinds import LENS_KINDS, kind_words
from forestay.optics.positions import ALL_POSITIONS
from forestay.plan.lens_around import Planned, boxes_of, formulas_of, learnt_of, remeasure_of
from forestay.plan.lens_model import LensErrorPart, LensPlan, LensPosition, LensRemeasure
from forestay.plan.measures import anterior_chamber_allowed
from forestay.plan.model_risk import Origin
from forestay.plan.offers import Offer, known, origin
from forestay.plan.prediction import DEFAULT_STEP_D, Predictor, predictor
from forestay.text import language, mark, tr

NORMAL_90_LIMIT = NormalDist().inv_cdf(0.95)
"""Half width of a central 90 % in standard deviations."""
LABELS = {
    "bag": mark("bag"),
    "sulcus": mark("sulcus, three-piece"),
    "optic-capture": mark("sulcus, optic captured"),
    "scleral": mark("fixed to the sclera"),
    "retropupillary-iris": mark("behind the iris, claw"),
    "prepupillary-iris": mark("before the iris, claw"),
    "anterior-chamber": mark("anterior chamber"),
    "aphakia": mark("none: spectacles"),
}


def lens_plan(offer: Offer) -> tuple[LensPlan, list[Doubt]]:
    """Powers for every place that the day may need; empty with the reason where length, K or constant lack."""
    setting = offer.setting
    case, estimates = setting.case, setting.estimates
    wanted, accepted = case.target.refraction_d, _region(offer)
    doubts: list[Doubt] = []
    if wanted is None and accepted is None:
        doubts.append(Doubt("target-plano", tr("No target refraction is stated; plano was taken.")))
    middle = 0.0 if accepted is None else (accepted[0] + accepted[1]) / 2
    target = middle if wanted is None else wanted
    use = setting.use.evidence.reader()
    eye = predictor(case, estimates, use)
    lacking = estimates.lacks["refraction"]
    if eye is None or estimates.length is None:
        why = (
            tr("no power without {names}", names=", ".join(lacking))
            if lacking
            else tr("no formula answers for this eye")
        )
        return LensPlan(None, None, None, target, (), (why,), region_d=accepted), doubts
    given = asked(offer, eye, target)
    try:
        answer = _answer(_Asked(given, use.evidence.digest, language(), use.evidence))
    except InvalidInput as wrong:  # of these inputs only the constant can put a lens where none can lie
        raise InvalidInput(
            wrong.message, field="target.lens_constant.a", value=given.constant.a, allowed=wrong.allowed
        ) from None
    use.merge(answer.use)
    doubts += [d for d in answer.doubts if d.code != "contact-length-as-given"]
    boxes, told = boxes_of(offer, given, use)
    doubts += told
    source = _origin(use, eye, given)
    rows = [boxes.onto(_row(offer, row, target, source)) for row in answer.rows]
    compared = formulas_of(offer, eye, given, _planned(rows, target), use)
    learnt, more = learnt_of(offer, eye, target, use)
    doubts += more
    setting.use.merge(use)
    says = (*_basis(eye, estimates.length.centre), *compared.says)
    return LensPlan(
        eye.name,
        estimates.length.centre,
        estimates.length.sd,
        target,
        tuple(rows),
        says,
        formulas=compared.rows,
        compared_on_d=compared.lens_d,
        disagreement_d=compared.disagreement_d,
        remeasure=answer.remeasure,
        region_d=accepted,
        learnt=(*boxes.own_says, *learnt),
        shelf=boxes.shelf,
    ), doubts


@dataclass(frozen=True)
class _Asked:
    """What the powers are asked with; two agree where all that the answer rests on agrees."""

    given: LensPositionsInput
    digest: str
    language: str
    evidence: EvidenceSet = field(compare=False)


@dataclass(frozen=True)
class _Answer:
    """Powers for every place, what measuring again would gain, and the rows read for both."""

    rows: tuple[LensInPosition, ...]
    doubts: tuple[Doubt, ...]
    remeasure: tuple[LensRemeasure, ...]
    use: Reader


@lru_cache(maxsize=64)
def _answer(asked: _Asked) -> _Answer:
    """Worked out once for an eye: no control in the picture moves its length, its corneal power or its lens."""
    use = asked.evidence.reader()
    answer, doubts = lens_positions_calculation.function(asked.given, use)
    return _Answer(answer.positions, tuple(doubts), remeasure_of(asked.given, use), use)


def _region(offer: Offer) -> tuple[float, float] | None:
    aim = offer.setting.case.target
    if aim.accept_from_d is None or aim.accept_to_d is None:
        return None
    return aim.accept_from_d, aim.accept_to_d


def asked(offer: Offer, eye: Predictor, target: float) -> LensPositionsInput:
    """The eye, formula and aim of the plan as the calculation ``lens-positions`` takes them."""
    case = offer.setting.case
    return LensPositionsInput(
        formula=cast(FormulaName, eye.name),
        axial_length_mm=eye.length.centre,
        length_is="as-measured" if eye.adjustment == "none" else "adjusted",
        k1_d=case.biometry.k1_d or 0.0,
        k2_d=case.biometry.k2_d or 0.0,
        chamber_depth_mm=case.biometry.chamber_depth_mm,
        constant=ConstantInput(a=float(eye.constant.a)),
        target_d=target,
        step_d=DEFAULT_STEP_D,
        axial_length_method=case.biometry.axial_length_method or "ultrasound-contact",
        positions=ALL_POSITIONS,
        weak_zonule=offer.setting.weak,
        accept_from_d=case.target.accept_from_d,
        accept_to_d=case.target.accept_to_d,
        refuse_above_d=case.target.refuse_above_d if case.target.accept_to_d is not None else None,
    )


def _origin(use: Reader, eye: Predictor, given: LensPositionsInput) -> Origin:
    return origin(
        use,
        formula=tr("{name}: lens distance, then thin-lens vergence; other places by shift of the lens", name=eye.name),
        inputs=known(
            length=tr("{mm:.2f} mm", mm=eye.length.centre),
            k=tr("{a:.2f} / {b:.2f} D", a=given.k1_d, b=given.k2_d),
            constant=f"A {float(eye.constant.a):g}",
            target=tr("{d:+.2f} D", d=given.target_d or 0.0),
        ),
        valid=tr("formula by length; backup places rest on few series"),
        calculation="lens-positions",
    )


def part_words(part: str) -> str:
    """A part of the error in words."""
    return {
        "length": tr("length of the eye"),
        "cornea": tr("corneal power"),
        "lens place": tr("where the lens comes to lie"),
        "lens label": tr("tolerance of the label"),
        "refraction": tr("the refraction itself"),
    }[part]


def _row(offer: Offer, row: LensInPosition, target: float, source: Origin) -> LensPosition:
    setting = offer.setting
    none, on_sulcus = row.position == "aphakia", row.position in ("sulcus", "optic-capture")
    best = row.choices[0] if none else next((c for c in row.choices if c.power_d == row.best_power_d), None)
    middle = best.refraction_d if best else target
    too_wide = _too_wide(offer, row.position)
    allowed = not too_wide and {
        "anterior-chamber": anterior_chamber_allowed(setting),
        "prepupillary-iris": anterior_chamber_allowed(setting),
        "sulcus": not setting.lacks_kit("three-piece-lens"),
    }.get(row.position, True)
    return LensPosition(
        position=row.position,
        label=tr(LABELS[row.position]),
        power_d=None if none else row.power_d,
        choices=tuple({"power_d": c.power_d, "refraction_d": c.refraction_d} for c in row.choices),
        sd_d=row.sd_d,
        low_d=middle - NORMAL_90_LIMIT * row.sd_d,
        high_d=middle + NORMAL_90_LIMIT * row.sd_d,
        note=tr("{why} {note}", why=too_wide, note=row.note) if too_wide else row.note,
        allowed=allowed,
        origin=source,
        best_power_d=row.best_power_d,
        best_refraction_d=middle if best else None,
        within_half=row.within_half,
        within_one=row.within_one,
        in_region=row.in_region,
        parts=tuple(LensErrorPart(p.part, part_words(p.part), p.sd_d, p.share) for p in row.parts if p.sd_d > 0),
        contact_lens_d=row.contact_lens_d,
        kinds=tuple(kind_words(k) for k in LENS_KINDS if k in row.kinds),
        never=tuple(_never(n.kind, n.why) for n in row.never if n.kind == "one-piece-soft" and on_sulcus),
        published=tuple(
            tr("{what}: {mean:+.2f} ± {sd:.2f} D ({n} eyes)", what=p.what, mean=p.mean_d, sd=p.sd_d, n=p.n)
            if p.sd_d is not None
            else tr("{what}: {mean:+.2f} D ({n} eyes)", what=p.what, mean=p.mean_d, n=p.n)
            for p in row.published
        ),
    )


def _too_wide(offer: Offer, position: str) -> str:
    """Why the planned opening captures no optic; nothing where it does, or for another place."""
    opening = offer.measures.capsulorhexis_mm
    if position != "optic-capture" or opening is None:
        return ""
    widest = offer.setting.use.number("size.capture_high_mm")
    if opening <= widest:
        return ""
    return tr("An opening of {mm:.1f} mm captures no optic ({most:g} mm at the most).", mm=opening, most=widest)


def _never(kind: str, why: str) -> str:
    words = next(kind_words(k) for k in LENS_KINDS if k == kind)
    return tr("never a {kind}: {why}", kind=words, why=why)


def _basis(eye: Predictor, measured_mm: float) -> tuple[str, ...]:
    said = [tr("{name} at {mm:.2f} mm; A {a:g}", name=eye.name, mm=eye.length.centre, a=float(eye.constant.a))]
    if eye.adjustment != "none":
        said.append(
            tr(
                "The length was adjusted for the formula, once, as asked ({how}): {before:.2f} to {after:.2f} mm.",
                how=eye.adjustment,
                before=measured_mm,
                after=eye.length.centre,
            )
        )
    if eye.passed_over:
        said.append(
            tr(
                "{usual} has no lens position for so long an eye with so steep a cornea; {name} was taken.",
                usual=eye.passed_over,
                name=eye.name,
            )
        )
    return tuple(said)


def box_name(plan: LensPlan, position: str) -> str | None:
    """The model of the box planned for that position; None without a shelf, or where nothing on it comes near."""
    row = next((p for p in plan.positions if p.position == position), None)
    return row.box.lens if row is not None and row.box is not None and row.box_is_near else None


def _planned(rows: list[LensPosition], target_d: float) -> Planned | None:
    """The lens planned for the bag."""
    row = next((r for r in rows if r.position == "bag"), None)
    best = None if row is None else _best_of(row, target_d)
    if row is None or best is None:
        return None
    return Planned(best[0], row.box.constant_a if row.box is not None and row.box_is_near else None, row.sd_d)


def best_choice(plan: LensPlan, position: str) -> tuple[float, float] | None:
    """The power to have in that position [D] and its refraction [D]: of the box, else of the powers that are made."""
    row = next((p for p in plan.positions if p.position == position), None)
    return None if row is None else _best_of(row, plan.target_d)


def _best_of(row: LensPosition, target_d: float) -> tuple[float, float] | None:
    if not row.choices:
        return None
    if row.box is not None and row.box_is_near:
        return row.box.power_d, row.box.refraction_d
    if row.best_power_d is not None and row.best_refraction_d is not None:
        return row.best_power_d, row.best_refraction_d
    best = min(row.choices, key=lambda c: abs(c["refraction_d"] - target_d))
    return best["power_d"], best["refraction_d"]
