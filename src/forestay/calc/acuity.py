"""Calculations of acuity: notations, bands of outcome, loss; and how much of a population's need is met, and well."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics import acuity as engine
from forestay.record import Record
from forestay.statistics import coverage
from forestay.text import tr

Category = Literal["CF", "HM", "PL", "NPL"]
IMPUTED: dict[str, str] = {
    "CF": "counting_fingers",
    "HM": "hand_movements",
    "PL": "light",
    "NPL": "no_light",
}
"""Word below the chart -> row of the number that a marked analysis may use for it."""
WAYS = ("numerator and denominator", "decimal", "logmar", "letters", "score", "category")
ONLY_CATEGORIES_MEASURED = ("CF", "HM")


class AcuityInput(Record):
    """One acuity in one notation, as it was recorded."""

    numerator: Annotated[float, Field(gt=0, le=20, description="upper number of a fraction: the distance")] | None = (
        None
    )
    denominator: Annotated[float, Field(gt=0, le=2000, description="lower number of a fraction")] | None = None
    decimal: Annotated[float, within("acuity_decimal")] | None = None
    logmar: Annotated[float, within("visual_acuity_logmar")] | None = None
    letters: Annotated[float, within("acuity_letters")] | None = None
    score: Annotated[float, within("acuity_score")] | None = None
    category: Category | None = Field(default=None, description="what was recorded below the chart")


class AcuityOutput(Record):
    """The same acuity in every notation, and its band; a category stays what it is."""

    category: Category | None = Field(description="the word as it was recorded; null for a measured acuity")
    decimal: float | None = Field(description="decimal acuity; null for a category")
    logmar: float | None = Field(description="logarithm of the minimum angle of resolution; null for a category")
    letters: float | None = Field(description="letters of the chart of 100, about; null for a category")
    score: float | None = Field(description="visual acuity score, 15 above the letters; null for a category")
    imputed_logmar: float | None = Field(
        description="number for a category in an analysis that says so; null for a measured acuity"
    )
    older_band: str = Field(description="good 6/18 or better, borderline, poor worse than 6/60")
    newer_band: str = Field(description="good 6/12 or better, borderline, poor worse than 6/60")


@calculation(
    "acuity",
    summary="An acuity from one notation to the others, with its outcome band; counting fingers and worse stay words",
    formula="logMAR = -log10(decimal); letters = 85 - 50 logMAR, within 0 to 100; score = 100 - 50 logMAR",
    valid="letters are about the count of the 4 m chart; bands are of one type of acuity, told with it",
    input=AcuityInput,
    output=AcuityOutput,
    example={"numerator": 6, "denominator": 18},
)
def acuity(given: AcuityInput, use: Reader) -> tuple[AcuityOutput, list[Doubt]]:
    """All notations of one acuity."""
    constants = use.constants(engine.AcuityConstants)
    if given.category is not None and _given(given) == ["category"]:
        return _of_category(given.category, use)
    logmar = _logmar(given, constants)
    found = engine.notations(logmar, constants=constants)
    decimal = float(found.decimal)
    answer = AcuityOutput(
        category=None,
        decimal=decimal,
        logmar=float(found.logmar),
        letters=float(found.letters),
        score=float(found.score),
        imputed_logmar=None,
        older_band=engine.band(
            decimal, good_decimal=constants.good_older_decimal, poor_below_decimal=constants.poor_below_decimal
        ),
        newer_band=engine.band(
            decimal, good_decimal=constants.good_newer_decimal, poor_below_decimal=constants.poor_below_decimal
        ),
    )
    return answer, []


def _given(given: AcuityInput) -> list[str]:
    names = ["fraction" if given.numerator is not None or given.denominator is not None else ""]
    names += [n if getattr(given, n) is not None else "" for n in ("decimal", "logmar", "letters", "score", "category")]
    return [name for name in names if name]


def _logmar(given: AcuityInput, constants: engine.AcuityConstants) -> float:
    ways = _given(given)
    if len(ways) != 1:
        raise InvalidInput(
            tr("An acuity is given in one notation; here {count}.", count=len(ways)),
            field="notation",
            value=", ".join(ways),
            allowed=", ".join(WAYS),
        )
    if given.numerator is not None and given.denominator is not None:
        return float(engine.logmar_of_decimal(given.numerator / given.denominator))
    if given.decimal is not None:
        return float(engine.logmar_of_decimal(given.decimal))
    if given.logmar is not None:
        return given.logmar
    if given.letters is not None:
        return float(engine.logmar_of_letters(given.letters, constants=constants))
    if given.score is not None:
        return float(engine.logmar_of_score(given.score, constants=constants))
    missing = "numerator" if given.numerator is None else "denominator"
    raise InvalidInput(tr("{field} is missing: a fraction has two numbers.", field=missing), field=missing)


def _of_category(category: Category, use: Reader) -> tuple[AcuityOutput, list[Doubt]]:
    imputed = use.number(f"acuity.imputed.{IMPUTED[category]}_logmar")
    says = tr(
        "{category} is no acuity on a chart. {imputed:g} logMAR may stand for it in an analysis that says so; medians and "
        "bands are safer than means.",
        category=category,
        imputed=imputed,
    )
    if category not in ONLY_CATEGORIES_MEASURED:
        says += " " + tr("That number was never measured.")
    answer = AcuityOutput(
        category=category,
        decimal=None,
        logmar=None,
        letters=None,
        score=None,
        imputed_logmar=imputed,
        older_band="poor",
        newer_band="poor",
    )
    return answer, [Doubt("imputed", says)]


class AcuityLossInput(Record):
    """Acuity before and after, of one type."""

    before_logmar: Annotated[float, within("visual_acuity_logmar")]
    after_logmar: Annotated[float, within("visual_acuity_logmar")]


class AcuityLossOutput(Record):
    """The change and whether it counts as a loss."""

    change_logmar: float = Field(description="after less before; above 0 is worse")
    lines: float = Field(description="the same in lines of 0.1 logMAR; above 0 is worse")
    lost: bool = Field(description="whether it is a doubling of the visual angle (0.30 logMAR) or more")


@calculation(
    "acuity-loss",
    summary="Whether acuity after surgery is worse than before by a doubling of the visual angle",
    formula="after - before >= 0.30 logMAR",
    valid="best-measured acuity: before, the better of corrected and uncorrected; after, the best of all",
    input=AcuityLossInput,
    output=AcuityLossOutput,
    example={"before_logmar": 0.3, "after_logmar": 0.6},
)
def acuity_loss(given: AcuityLossInput, use: Reader) -> tuple[AcuityLossOutput, list[Doubt]]:
    """The change in logMAR and lines."""
    change = given.after_logmar - given.before_logmar
    lost = engine.lost(
        before_logmar=given.before_logmar,
        after_logmar=given.after_logmar,
        constants=use.constants(engine.AcuityConstants),
    )
    return AcuityLossOutput(change_logmar=change, lines=10 * change, lost=lost), []


Persons = Annotated[int, Field(ge=0, le=1_000_000_000)]


class SurgicalCoverageInput(Record):
    """Persons of a survey, and the thresholds that they were counted by."""

    one_operated: Persons = Field(description="persons: one eye operated, an operable cataract in the other")
    both_operated: Persons = Field(description="persons: both eyes operated")
    unoperated: Persons = Field(description="persons: an operable cataract in both eyes, neither operated")
    one_good: Persons = Field(description="persons: of those with one eye operated: that eye sees well")
    both_good: Persons = Field(description="persons: of those with both operated: at least one eye sees well")
    operable_below: Literal["6/18", "6/12", "6/60"] = Field(description="pinhole acuity worse than this is operable")
    good_from: Literal["6/18", "6/12"] = Field(description="presenting acuity from this on is good")


class SurgicalCoverageOutput(Record):
    """Shares of the persons in need."""

    coverage: float | None = Field(description="operated, of all in need; null where nobody is")
    effective: float | None = Field(description="operated and seeing well, of all in need")
    quality_gap: float | None = Field(description="share of the coverage that is lost to poor results")
    in_need: int = Field(description="persons operated or in need")


@calculation(
    "surgical-coverage",
    summary="Cataract surgical coverage of a population, how much of it is effective, and the gap",
    formula="coverage (x + y)/(x + y + z); effective (a + b)/(x + y + z); gap = (coverage - effective)/coverage",
    valid="persons of a survey of a whole population; a clinic cannot work it out from its own patients",
    input=SurgicalCoverageInput,
    output=SurgicalCoverageOutput,
    example={
        "one_operated": 120,
        "both_operated": 180,
        "unoperated": 200,
        "one_good": 80,
        "both_good": 150,
        "operable_below": "6/60",
        "good_from": "6/18",
    },
)
def surgical_coverage(given: SurgicalCoverageInput, use: Reader) -> tuple[SurgicalCoverageOutput, list[Doubt]]:
    """Coverage, effective coverage and the gap, with the thresholds said."""
    use.row("acuity.good_newer_decimal" if given.good_from == "6/12" else "acuity.good_older_decimal")
    for good, operated in (("one_good", "one_operated"), ("both_good", "both_operated")):
        if getattr(given, good) > getattr(given, operated):
            raise InvalidInput(
                tr(
                    "{field} is {value}; no more than {other}, {limit}.",
                    field=good,
                    value=getattr(given, good),
                    other=operated,
                    limit=getattr(given, operated),
                ),
                field=good,
                value=getattr(given, good),
                allowed=tr("0 to {limit}", limit=getattr(given, operated)),
            )
    found = coverage.surgical_coverage(
        one_operated=given.one_operated,
        both_operated=given.both_operated,
        unoperated=given.unoperated,
        one_good=given.one_good,
        both_good=given.both_good,
    )
    says = tr(
        "Operable is worse than {operable} with pinhole, good is {good} or better as the person came; figures by other "
        "thresholds cannot be compared.",
        operable=given.operable_below,
        good=given.good_from,
    )
    need = given.one_operated + given.both_operated + given.unoperated
    answer = SurgicalCoverageOutput(
        coverage=found.coverage, effective=found.effective, quality_gap=found.quality_gap, in_need=need
    )
    return answer, [Doubt("thresholds", says)]


CALCULATIONS = (acuity, acuity_loss, surgical_coverage)
