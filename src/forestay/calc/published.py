"""The calculation ``published-risks``: what published series say of every complication, for one technique and eye."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import Appearance, FellowComplication, Technique
from forestay.record import Record
from forestay.risk import series
from forestay.text import tr

Complication = Literal[
    "intraoperative",
    "capsule-rupture",
    "vitreous-loss",
    "zonular-dialysis",
    "dropped-nucleus",
    "choroidal-haemorrhage",
    "pressure-rise",
    "early-oedema",
    "corneal-decompensation",
    "endophthalmitis",
    "macular-oedema",
    "detachment",
    "late-displacement",
    "serious",
]


def complication_words() -> dict[str, str]:
    """What each complication is called."""
    return {
        "intraoperative": tr("any complication during surgery"),
        "capsule-rupture": tr("capsule rupture"),
        "vitreous-loss": tr("vitreous loss"),
        "zonular-dialysis": tr("zonular dialysis"),
        "dropped-nucleus": tr("nucleus lost into the vitreous"),
        "choroidal-haemorrhage": tr("suprachoroidal haemorrhage"),
        "pressure-rise": tr("pressure rise"),
        "early-oedema": tr("corneal oedema on the first day"),
        "corneal-decompensation": tr("corneal decompensation"),
        "endophthalmitis": tr("endophthalmitis"),
        "macular-oedema": tr("macular oedema"),
        "detachment": tr("retinal detachment"),
        "late-displacement": tr("late displacement of bag and lens"),
        "serious": tr("any serious complication within a year"),
    }


class PublishedRisksInput(Record):
    """One technique and what is known of the eye. What is left out is not known, and picks no special series."""

    technique: Technique = Field(description="technique of the operation")
    age_years: Annotated[float, within("age_years")] | None = None
    sex: Literal["female", "male", "unknown"] | None = Field(default=None, description="sex as recorded")
    trainee: bool | None = Field(default=None, description="a trainee operates")
    pseudoexfoliation: bool | None = Field(default=None, description="pseudoexfoliation material")
    loose_lens: bool | None = Field(default=None, description="lens or iris moves, or the lens lies off its place")
    appearance: Appearance | None = Field(default=None, description="what the cataract looks like")
    posterior_polar: bool | None = Field(default=None, description="posterior polar cataract")
    diabetes: bool | None = Field(default=None, description="diabetes")
    glaucoma: bool | None = Field(default=None, description="glaucoma")
    guttae: bool | None = Field(default=None, description="corneal guttae")
    corneal_opacity: bool | None = Field(default=None, description="corneal opacity")
    synechiae: bool | None = Field(default=None, description="iris adherent to the lens")
    vitrectomy: bool | None = Field(default=None, description="earlier vitrectomy")
    pupil_dilated_mm: Annotated[float, within("pupil_dilated_mm")] | None = None
    axial_length_mm: Annotated[float, within("axial_length_mm")] | None = None
    pressure_mmhg: Annotated[float, within("pressure_mmhg")] | None = None
    fellow_complication: FellowComplication | None = Field(
        default=None, description="what went wrong in the fellow eye's operation or after it"
    )
    capsule_ruptured: bool = Field(default=False, description="the capsule has ruptured: adds what follows from it")


class PublishedRate(Record):
    """One published rate, with whose eyes it was."""

    complication: Complication = Field(description="what went wrong; rates of one complication overlap")
    name: str = Field(description="name of the series")
    rate: float = Field(description="share of eyes; a share a year where the meaning says so")
    low: float = Field(description="lower end of its interval; the rate itself where none is published")
    high: float = Field(description="upper end of its interval")
    interval: str | None = Field(description="what low and high are; null where none is published")
    meaning: str = Field(description="what was counted")
    population: str = Field(description="whose eyes it was")
    n: int | None = Field(description="eyes counted")
    year: int | None = Field(description="year of publication")
    source: str = Field(description="citation")
    standing: str = Field(description="standing of the number")


class PublishedRatio(Record):
    """A published ratio of a sign of this eye: told beside, not multiplied."""

    complication: Complication = Field(description="what it raises or lowers")
    ratio: float = Field(description="odds, hazard or rate ratio, as published")
    low: float = Field(description="lower end of its interval; the ratio itself where none is published")
    high: float = Field(description="upper end of its interval")
    meaning: str = Field(description="sign and ratio in words")
    population: str = Field(description="whose eyes it was")
    source: str = Field(description="citation")
    standing: str = Field(description="standing of the number")


class PublishedRisks(Record):
    """Rates and ratios by complication. Definitions overlap: nothing here may be added up."""

    rates: tuple[PublishedRate, ...] = Field(description="published rates, in the order in which things may happen")
    ratios: tuple[PublishedRatio, ...] = Field(description="published ratios of this eye's signs")


def eye_of(given: PublishedRisksInput, use: Reader) -> series.Eye:
    """The eye as the series take it. Bounds are read without being counted: the row that speaks of one is counted."""
    bound = use.evidence.reader().number
    age, length = given.age_years, given.axial_length_mm
    return series.Eye(
        pseudoexfoliation=given.pseudoexfoliation,
        loose_lens=given.loose_lens,
        brown=None if given.appearance is None else given.appearance in ("brown", "black"),
        white=None if given.appearance is None else given.appearance in ("white", "intumescent", "hypermature"),
        diabetes=given.diabetes,
        long_eye=None if length is None else length >= bound("act.long_eye_mm"),
        posterior_polar=given.posterior_polar,
        trainee=given.trainee,
        glaucoma=given.glaucoma,
        guttae=given.guttae,
        male=None if given.sex in (None, "unknown") else given.sex == "male",
        young=None if age is None else age < bound("series_bound.young_years"),
        old=None if age is None else age > bound("series_bound.old_years"),
        very_old=None if age is None else age > bound("series_bound.very_old_years"),
        longish_eye=None if length is None else length > bound("series_bound.longish_mm"),
        raised_pressure=None
        if given.pressure_mmhg is None
        else given.pressure_mmhg > bound("series_bound.raised_pressure_mmhg"),
        corneal_opacity=given.corneal_opacity,
        small_pupil=None
        if given.pupil_dilated_mm is None
        else given.pupil_dilated_mm < bound("series_bound.full_pupil_mm"),
        synechiae=given.synechiae,
        vitrectomy=given.vitrectomy,
        fellow_oedema=None if given.fellow_complication is None else given.fellow_complication == "macular-oedema",
    )


@calculation(
    "published-risks",
    summary="Published rates of every complication for one technique and eye, each with whose eyes it was",
    formula="rows of evidence picked by technique and finding; nothing is multiplied or added",
    valid="the population that stands beside each rate; definitions overlap",
    input=PublishedRisksInput,
    output=PublishedRisks,
    example={"technique": "manual-small-incision", "age_years": 74, "pseudoexfoliation": True, "glaucoma": False},
)
def published_risks(given: PublishedRisksInput, use: Reader) -> tuple[PublishedRisks, list[Doubt]]:
    """Every published rate that speaks about this technique in this eye, and the ratios of its signs."""
    eye = eye_of(given, use)
    rates = series.pick(use.row, technique=given.technique, eye=eye)
    if given.capsule_ruptured:
        rates += series.after_capsule_rupture(use.row)
    doubts = [
        Doubt(
            "rates-overlap",
            tr(
                "Rates of different series count different things, and one eye may stand in several: they are never "
                "added up, and ratios of signs are told beside them, not multiplied."
            ),
        )
    ]
    result = PublishedRisks(
        rates=tuple(_rate(rate, use) for rate in rates),
        ratios=tuple(_ratio(rate, use) for rate in series.ratios(use.row, technique=given.technique, eye=eye)),
    )
    return result, doubts


def _rate(rate: series.Rate, use: Reader) -> PublishedRate:
    row = use.row(rate.key)
    return PublishedRate(
        complication=rate.complication,  # type: ignore[arg-type]
        name=rate.name,
        rate=rate.value,
        low=rate.low,
        high=rate.high,
        interval=rate.interval,
        meaning=rate.meaning,
        population=rate.population or "",
        n=row.n,
        year=row.year,
        source=use.evidence_source(row.source.key),
        standing=row.standing,
    )


def _ratio(rate: series.Rate, use: Reader) -> PublishedRatio:
    row = use.row(rate.key)
    return PublishedRatio(
        complication=rate.complication,  # type: ignore[arg-type]
        ratio=rate.value,
        low=rate.low,
        high=rate.high,
        meaning=rate.meaning,
        population=rate.population or "",
        source=use.evidence_source(row.source.key),
        standing=row.standing,
    )


CALCULATIONS = (published_risks,)
