"""Calculation of the risk of capsule rupture or vitreous loss."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.own_record import RecordIn, small_record
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import Technique
from forestay.record import Record
from forestay.risk import complication as engine
from forestay.risk.bayes import log_error_from_interval, logistic, logit
from forestay.risk.own_record import OwnRecord, OwnRecordConstants, learned
from forestay.text import spelled, tr

ModelName = Literal["uk-2009", "uk-2009-updated"]
Grade = Literal["consultant", "associate-specialist", "staff-grade", "fellow", "registrar", "house-officer"]
Pupil = Literal["large", "medium", "small"]
FactorName = Literal[
    "sex",
    "glaucoma",
    "diabetic_retinopathy",
    "brown_or_white",
    "no_fundus_view",
    "pseudoexfoliation",
    "pupil",
    "long_eye",
    "alpha_blocker",
    "cannot_lie_flat",
    "surgeon_grade",
]
NEWER: tuple[tuple[str, str, str], ...] = (
    ("pseudoexfoliation", "yes", "complication.newer.pseudoexfoliation"),
    ("brown_or_white", "yes", "complication.newer.brown_or_white"),
    ("surgeon_grade", "house-officer", "complication.newer.house_officer"),
)
"""Factor, level and row of each odds ratio that the newer audit replaces."""


class EyeFactors(Record):
    """One eye by the factors of the national model. A factor left out counts as absent unless listed in ``unknown``."""

    age_years: Annotated[float, within("age_years")]
    sex: Literal["female", "male", "unknown"] = Field(description="sex; unknown is averaged")
    glaucoma: bool | None = Field(default=None, description="glaucoma")
    diabetic_retinopathy: bool | None = Field(default=None, description="diabetic retinopathy")
    brown_or_white: bool | None = Field(default=None, description="brown, black, white or mature lens")
    no_fundus_view: bool | None = Field(default=None, description="no view of the fundus, or vitreous opacity")
    pseudoexfoliation: bool | None = Field(default=None, description="pseudoexfoliation or phacodonesis")
    pupil: Pupil | None = Field(default=None, description="dilated pupil, as the surgeon judges it")
    long_eye: bool | None = Field(default=None, description="axial length of 26 mm or more")
    alpha_blocker: bool | None = Field(default=None, description="alpha-blocker")
    cannot_lie_flat: bool | None = Field(default=None, description="cannot lie flat")
    surgeon_grade: Grade | None = Field(default=None, description="the surgeon's grade, in the model's words")
    unknown: tuple[FactorName, ...] = Field(
        default=(), strict=False, description="factors to average over the mix of eyes"
    )


class ComplicationRiskInput(EyeFactors):
    """One eye, and which model and record it is asked of."""

    model: ModelName = Field(description="which model")
    technique: Technique = Field(
        default="phacoemulsification", description="whose own record counts; the model itself is of phacoemulsification"
    )
    own_records: tuple[RecordIn, ...] = Field(
        default=(), strict=False, description="the surgeon's own records, one a technique; empty: the model alone"
    )


class FactorOut(Record):
    """What one factor did: its level and odds ratio; for an unknown factor the mean over the mix."""

    name: str = Field(description="factor")
    level: str = Field(description="level of this eye")
    odds_ratio: float = Field(description="odds ratio against the reference level; the mean over the mix where unknown")


class ComplicationRisk(Record):
    """Probability of capsule rupture or vitreous loss. ``low`` and ``high`` hold the central 90 per cent.

    ``odds`` is p / (1 - p); ``composite_odds_ratio`` the odds against the reference eye; ``uncapped_probability`` what
    the model gave before the cap; ``reference_probability`` that of the reference eye.
    """

    probability: float = Field(description="probability of capsule rupture or vitreous loss, after the cap")
    low: float = Field(description="lower end of the central 90 per cent")
    high: float = Field(description="upper end of the central 90 per cent")
    odds: float = Field(description="probability / (1 - probability)")
    factors: tuple[FactorOut, ...] = Field(description="factors that are not at their reference level")
    composite_odds_ratio: float = Field(description="odds against the reference eye")
    uncapped_probability: float = Field(description="what the model gave before the cap")
    reference_probability: float = Field(description="probability of the reference eye")
    model: ModelName = Field(description="which model")
    own_factor: float | None = Field(description="factor of the own record on the odds; null without a record")
    own_weight: float | None = Field(description="weight of the own record, 0 to 1; null without a record")


def read_model(name: ModelName, use: Reader) -> tuple[engine.Model, list[Doubt]]:
    """The named model from the rows of evidence, and the doubts that belong to it.

    The rows of the mix, the cap and the career grades are read without being counted as used: most eyes do not touch
    them, and who does counts them.
    """
    untouched = use.evidence.reader()
    model = engine.build(
        ratios=use.constants(engine.OddsRatios),
        spread=use.constants(engine.Spread),
        mix=untouched.table("complication.mix"),
        reference_probability=use.number("complication.reference_probability"),
        career_grade_odds=untouched.number("complication.career_grade_used"),
        cap=untouched.number("complication.cap"),
    )
    if name == "uk-2009":
        return model, []
    use.row("complication.mix")
    before, after = use.number("complication.rate_2009"), use.number("complication.rate_2022")
    level = use.number("interval.published")
    moved = engine.shifted(model, rate_before=before, rate_after=after)
    for factor, at, key in NEWER:
        row = use.row(key)
        error = log_error_from_interval(low=row.low or 0, high=row.high or 0, level=level) if row.low else 0.0
        moved = engine.with_ratio(moved, factor=factor, level=at, odds_ratio=use.number(key), log_error=error)
    solved = engine.with_mean(moved, after)
    doubt = Doubt(
        "hybrid-model",
        tr(
            "This is a hybrid: the 2009 odds ratios with three newer ones put in (pseudoexfoliation, brown or white, "
            "house officer), the reference eye shifted by {shift:+.3f} in log odds for the fall of the rate from "
            "{before:.2%} to {after:.2%} and by {more:+.3f} so that the assumed mix of eyes has that rate.",
            shift=logit(after) - logit(before),
            before=before,
            after=after,
            more=solved.intercept - moved.intercept,
        ),
    )
    return solved, [doubt]


@calculation(
    "complication-risk",
    summary="Risk of capsule rupture or vitreous loss from a national odds-ratio model",
    formula="logit p = logit p0 + sum of ln(odds ratio); an unknown factor is averaged over the mix of eyes",
    valid="Phacoemulsification in the United Kingdom, 55 567 operations 2001-06; capped at 75 %",
    input=ComplicationRiskInput,
    output=ComplicationRisk,
    example={
        "model": "uk-2009",
        "age_years": 74,
        "sex": "male",
        "pseudoexfoliation": True,
        "brown_or_white": True,
        "pupil": "small",
        "surgeon_grade": "consultant",
        "unknown": ["alpha_blocker"],
    },
)
def complication_risk(given: ComplicationRiskInput, use: Reader) -> tuple[ComplicationRisk, list[Doubt]]:
    """Probability of capsule rupture or vitreous loss in this eye, with its interval and what made it."""
    records = tuple(OwnRecord(r.technique, r.operations, r.events, r.expected) for r in given.own_records)
    return risk_with_record(given, records, use)


def risk_with_record(
    given: ComplicationRiskInput, records: tuple[OwnRecord, ...], use: Reader
) -> tuple[ComplicationRisk, list[Doubt]]:
    """The same with own records, which may list predictions and outcomes case by case."""
    model, doubts = read_model(given.model, use)
    eye, taken = levels_of(given, model, use.numbers("complication.odds.age_starts_years"))
    doubts += taken
    doubts.append(
        Doubt(
            "other-technique",
            tr(
                "The model was fitted on phacoemulsification in the United Kingdom; no model of its kind exists for "
                "other techniques, and a loose zonule without vitreous loss is not counted in it."
            ),
        )
    )
    own = None
    if records:
        constants, wide = use.constants(OwnRecordConstants), use.number("interval.published")
        own = learned(records, given.technique, constants=constants, level=wide)
        doubts.append(small_record(use))
    found = engine.estimate(model, eye, level=use.number("interval.shown"), own=own)
    if any(contribution.level == "unknown" for contribution in found.contributions):
        use.row("complication.mix")
    if found.outside:
        use.row("complication.cap")
        doubts.append(
            Doubt(
                "outside-studied-range",
                tr(
                    "This combination is outside the data: the model gives {raw:.1%}, capped at {cap:.0%}.",
                    raw=found.uncapped_probability,
                    cap=model.cap,
                ),
            )
        )
    if given.surgeon_grade in ("associate-specialist", "staff-grade"):
        doubts.append(_career_grade(use))
    reference = {factor.name: factor.levels[0] for factor in model.factors}
    result = ComplicationRisk(
        probability=found.probability,
        low=found.low,
        high=found.high,
        odds=found.odds,
        factors=tuple(
            FactorOut(name=c.name, level=c.level, odds_ratio=c.odds_ratio)
            for c in found.contributions
            if c.level != reference[c.name]
        ),
        composite_odds_ratio=found.composite_odds_ratio,
        uncapped_probability=found.uncapped_probability,
        reference_probability=logistic(model.intercept),
        model=given.model,
        own_factor=None if own is None else math.exp(own.intercept),
        own_weight=None if own is None else own.weight_intercept,
    )
    return result, doubts


def levels_of(
    given: EyeFactors, model: engine.Model, starts_years: tuple[float, ...]
) -> tuple[dict[str, str], list[Doubt]]:
    """The level of each known factor, and a doubt for what was taken for granted."""
    unknown = set(given.unknown)
    for name in given.unknown:
        if name != "sex" and getattr(given, name) is not None:
            raise InvalidInput(
                tr("{name} is given and is also listed in unknown.", name=name),
                field="unknown",
                value=name,
                allowed=tr("names of factors that are not given"),
            )
    eye = {"age": engine.age_band(given.age_years, starts_years)}
    doubts = []
    if given.sex != "unknown" and "sex" not in unknown:
        eye["sex"] = given.sex
    assumed = [flag for flag in engine.FLAGS if flag not in unknown and getattr(given, flag) is None]
    for flag in engine.FLAGS:
        if flag not in unknown:
            eye[flag] = "yes" if getattr(given, flag) else "no"
    if assumed:
        doubts.append(Doubt("taken-as-absent", tr("Not given and taken as absent: {names}.", names=spelled(assumed))))
    if "pupil" not in unknown:
        eye["pupil"] = given.pupil or engine.PUPILS[0]
        if given.pupil is None:
            doubts.append(Doubt("pupil-taken-as-large", tr("The pupil is not given and is taken as large.")))
    if "surgeon_grade" not in unknown:
        eye["surgeon_grade"] = given.surgeon_grade or engine.GRADES[0]
        if given.surgeon_grade is None:
            doubts.append(
                Doubt("grade-taken-as-consultant", tr("The surgeon's grade is not given and is taken as consultant."))
            )
    averaged = [f.name for f in model.factors if f.name not in eye]
    if averaged:
        doubts.append(
            Doubt(
                "averaged-over-mix",
                tr("Not known and averaged over the assumed mix of eyes: {names}.", names=spelled(averaged)),
            )
        )
    return eye, doubts


def _career_grade(use: Reader) -> Doubt:
    return Doubt(
        "career-grade-as-consultant",
        tr(
            "The printed odds ratios of associate specialist and staff grade, {associate:g} and {staff:g}, are not "
            "used; {used:g} is.",
            used=use.number("complication.career_grade_used"),
            associate=use.number("complication.printed.associate_specialist"),
            staff=use.number("complication.printed.staff_grade"),
        ),
    )


CALCULATIONS = (complication_risk,)
