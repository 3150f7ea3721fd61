"""Calculation of what an operation takes from the corneal endothelium."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import Technique
from forestay.record import Record
from forestay.risk import endothelium as engine
from forestay.risk.normal import normal_quantile
from forestay.risk.truncated import whole_sd
from forestay.text import tr

Ovd = Literal["viscoadaptive", "soft-shell", "dispersive", "cohesive", "super-cohesive"]


class EndotheliumInput(Record):
    """Count before surgery, and what is to be done. ``years`` is how far to look ahead."""

    count_per_mm2: Annotated[float, within("count_per_mm2")]
    age_years: Annotated[float, within("age_years")]
    technique: Technique = Field(description="technique of the operation")
    grade: Annotated[float, within("grade")]
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    ovd: Ovd | None = Field(default=None, description="kind of OVD that coats the cornea")
    years: Annotated[float, within("years")] | None = None


class YearOut(Record):
    """The count ``year`` years after surgery, at the mean loss; ``low`` and ``high`` hold the central 90 per cent."""

    year: float = Field(description="years after surgery")
    count_per_mm2: float = Field(description="count at the mean loss [cells/mm2]")
    low: float = Field(description="lower end of the central 90 per cent")
    high: float = Field(description="upper end of the central 90 per cent")
    probability_below: dict[str, float] = Field(description="probability that the count is below 500, 700 and 1000")


class LowCountSeries(Record):
    """What a published series of low counts would leave of this count."""

    loss: float = Field(description="share lost in the series")
    after_per_mm2: float = Field(description="what that would leave [cells/mm2]")
    source: str = Field(description="the series")


class Endothelium(Record):
    """Count once the cornea has healed (``after_per_mm2``: at the mean loss; central 90 per cent in ``low`` and ``high``).

    ``by_year`` runs from 0 to ``years`` with ageing; ``final_per_mm2`` is its last count. ``loss`` is the mean share
    lost. ``usual_for_age_per_mm2`` is what eyes of this age have before surgery. ``low_count_series`` is filled for
    counts below 1000/mm2: two published series that disagree.
    """

    after_per_mm2: float = Field(description="count once the cornea has healed, at the mean loss [cells/mm2]")
    low: float = Field(description="lower end of the central 90 per cent")
    high: float = Field(description="upper end of the central 90 per cent")
    probability_below: dict[str, float] = Field(
        description="probability that the healed count is below 500, 700 and 1000"
    )
    by_year: tuple[YearOut, ...] = Field(description="the years that follow, from 0")
    final_per_mm2: float = Field(description="count at the last year shown [cells/mm2]")
    loss: float = Field(description="mean share lost")
    usual_for_age_per_mm2: float = Field(description="what eyes of this age have before surgery [cells/mm2]")
    low_count_series: tuple[LowCountSeries, ...] = Field(
        description="for low counts: two published series that disagree"
    )


def read_loss(
    technique: Technique,
    grade: float,
    use: Reader,
    *,
    chamber_depth_mm: float | None = None,
    ovd: Ovd | None = None,
) -> engine.Loss:
    """The loss of a technique at a hardness, in this chamber and under this OVD, from the rows of evidence."""
    least, greatest = use.number("endothelium.least_loss"), use.number("endothelium.greatest_loss")
    loss = engine.loss_at(
        grade=grade,
        reference_grade=use.number("endothelium.reference_grade"),
        mean_at_reference=use.number(f"endothelium.loss.{technique}"),
        slope_per_grade=use.number(f"endothelium.slope.{technique}"),
        sd_eye=whole_sd(
            mean=use.number("endothelium.spread_mean"),
            spread=use.sd("endothelium.spread"),
            least=least,
            greatest=greatest,
        ),
        sd_series=use.sd("endothelium.level"),
        least=least,
        greatest=greatest,
    )
    if chamber_depth_mm is not None and chamber_depth_mm < use.evidence.reader().number("endothelium.shallow_mm"):
        given = {"chamber_depth_mm": chamber_depth_mm, "from_mm": use.number("endothelium.shallow_mm")}
        shift = engine.chamber_shift(**given, per_mm=use.number("endothelium.per_shallow_mm"))
        spread = engine.chamber_shift(**given, per_mm=use.sd("endothelium.per_shallow_mm"))
        loss = engine.under_conditions(loss, shift=shift, shift_sd=spread)
    if ovd is not None:
        key = f"endothelium.ovd.{ovd}"
        loss = engine.under_conditions(loss, shift=use.number(key), shift_sd=use.sd(key))
    return loss


def read_ageing(use: Reader) -> engine.Ageing:
    """Yearly loss of a quiet eye from the rows of evidence."""
    return engine.Ageing(use.number("endothelium.ageing_per_year"), use.sd("endothelium.ageing_per_year"))


@calculation(
    "endothelium",
    summary="Endothelial count after surgery, by technique and hardness, and in the years that follow",
    formula="after = count x (1 - loss), mean loss = mean + slope x (grade - 3) + shallow chamber + OVD; loss spread as a "
    "normal truncated at 0 and 80 %, with the published mean and spread; later x exp(-0.006 years)",
    valid="Adults with uncomplicated surgery; the loss does not depend on the count, so that a lower count never ends "
    "higher, and no chance has a step. Counts below 1000/mm2 were studied in two small series that disagree",
    input=EndotheliumInput,
    output=Endothelium,
    example={"count_per_mm2": 1800, "age_years": 74, "technique": "manual-small-incision", "grade": 4, "years": 5},
)
def endothelium(given: EndotheliumInput, use: Reader) -> tuple[Endothelium, list[Doubt]]:
    """Count after surgery with interval, the chance of ending below three counts, and the years that follow."""
    loss = read_loss(given.technique, given.grade, use, chamber_depth_mm=given.chamber_depth_mm, ovd=given.ovd)
    ageing = read_ageing(use)
    doubts = []
    years = given.years
    if years is None:
        years = use.number("endothelium.years_shown")
        doubts.append(
            Doubt("years-taken", tr("How far to look ahead is not given; {years:g} years are shown.", years=years))
        )
    path = _path(given.count_per_mm2, loss, ageing, years, use)
    result = Endothelium(
        after_per_mm2=path[0].count_per_mm2,
        low=path[0].low,
        high=path[0].high,
        probability_below=path[0].probability_below,
        by_year=path,
        final_per_mm2=path[-1].count_per_mm2,
        loss=loss.mean,
        usual_for_age_per_mm2=_usual(given.age_years, use),
        low_count_series=_low_count(given.count_per_mm2, use),
    )
    return result, doubts + _told(given, result, years, use)


def _path(
    count_per_mm2: float, loss: engine.Loss, ageing: engine.Ageing, years: float, use: Reader
) -> tuple[YearOut, ...]:
    """Count, interval and chances at 0, 1, … whole years, and at ``years`` itself."""
    thresholds = use.numbers("endothelium.thresholds_per_mm2")
    level = use.number("interval.shown")
    healed = engine.mean_after(count_per_mm2=count_per_mm2, loss=loss)
    times = [float(year) for year in range(math.floor(years) + 1)]
    if times[-1] != years:
        times.append(years)
    rows = []
    for year in times:
        low, high = engine.interval(count_per_mm2=count_per_mm2, loss=loss, ageing=ageing, years=year, level=level)
        below = {
            f"{threshold:g}": engine.probability_below(
                threshold_per_mm2=threshold, count_per_mm2=count_per_mm2, loss=loss, ageing=ageing, years=year
            )
            for threshold in thresholds
        }
        count = engine.aged(count_per_mm2=healed, years=year, per_year=ageing.mean)
        rows.append(YearOut(year=year, count_per_mm2=count, low=low, high=high, probability_below=below))
    return tuple(rows)


def _usual(age_years: float, use: Reader) -> float:
    """The usual count at this age, before surgery."""
    return float(
        engine.aged(
            count_per_mm2=use.number("endothelium.usual.count_per_mm2"),
            years=age_years - use.number("endothelium.usual.age_years"),
            per_year=use.number("endothelium.usual.fall_per_year"),
        )
    )


def _low_count(count_per_mm2: float, use: Reader) -> tuple[LowCountSeries, ...]:
    if count_per_mm2 >= use.number("endothelium.low_count.below_per_mm2"):
        return ()
    found = []
    for key in ("endothelium.low_count.lesser_loss", "endothelium.low_count.greater_loss"):
        share = use.number(key)
        found.append(
            LowCountSeries(
                loss=share,
                after_per_mm2=engine.mean_after(count_per_mm2=count_per_mm2, loss=engine.Loss(share, 0.0, 0.0, 1.0)),
                source=use.row(key).source.key,
            )
        )
    return tuple(found)


def _told(given: EndotheliumInput, result: Endothelium, years: float, use: Reader) -> list[Doubt]:
    """What a reader must know beside the numbers."""
    doubts = []
    if result.low_count_series:
        first, second = result.low_count_series
        doubts.append(
            Doubt(
                "low-count",
                tr(
                    "Below 1000/mm2 two small series disagree: a loss of {first:.1%} would leave {one:.0f}/mm2, a loss "
                    "of {second:.1%} would leave {two:.0f}/mm2.",
                    first=first.loss,
                    one=first.after_per_mm2,
                    second=second.loss,
                    two=second.after_per_mm2,
                ),
            )
        )
    if given.grade >= use.number("endothelium.hard_from_grade"):
        doubts.append(
            Doubt(
                "hard-nucleus-trials-disagree",
                tr(
                    "In hard nuclei one trial found a loss of 15 % or more in {phaco:.1%} with ultrasound and "
                    "{manual:.1%} with the nucleus delivered whole; another found equal means ({one:.1%} and "
                    "{two:.1%}).",
                    phaco=use.number("endothelium.severe_loss.phacoemulsification"),
                    manual=use.number("endothelium.severe_loss.extracapsular"),
                    one=use.number("endothelium.grade_four.phacoemulsification"),
                    two=use.number("endothelium.grade_four.manual-small-incision"),
                ),
            )
        )
    if given.technique == "extracapsular":
        doubts.append(
            Doubt(
                "trials-differ-in-level",
                tr(
                    "The trial of extracapsular surgery found a loss of {loss:.1%} in both arms; its figure is put "
                    "on the level of the other trials so that techniques compare.",
                    loss=use.number("endothelium.trial_of_500"),
                ),
            )
        )
    usual_sd = use.sd("endothelium.usual.count_per_mm2")
    widest = normal_quantile(0.5 * (1 + use.number("interval.published"))) * usual_sd
    if abs(given.count_per_mm2 - result.usual_for_age_per_mm2) > widest:
        doubts.append(
            Doubt(
                "unusual-count",
                tr(
                    "{count:.0f}/mm2 is unusual at {age:g} years, where {usual:.0f}/mm2 is usual: check the "
                    "photograph.",
                    count=given.count_per_mm2,
                    age=given.age_years,
                    usual=result.usual_for_age_per_mm2,
                ),
            )
        )
    if years > 0:
        doubts.append(
            Doubt(
                "loss-after-surgery",
                tr(
                    "After surgery cells may go faster than in a quiet eye: at {rate:.1%} a year {count:.0f}/mm2 "
                    "would be left at {years:g} years.",
                    rate=use.number("endothelium.after_surgery_per_year"),
                    years=years,
                    count=engine.aged(
                        count_per_mm2=result.after_per_mm2,
                        years=years,
                        per_year=use.number("endothelium.after_surgery_per_year"),
                    ),
                ),
            )
        )
    return doubts


CALCULATIONS = (endothelium,)
