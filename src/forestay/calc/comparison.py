"""The calculation ``compare-options``: who is beaten outright, and what one's own weights make of the rest."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.record import Record
from forestay.statistics import dominance
from forestay.statistics.dominance import Measure
from forestay.text import tr

Number = Annotated[float, Field(allow_inf_nan=False)]
Weight = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
MOST = 30


class MeasureInput(Record):
    """A measure by which the options are compared."""

    name: Name = Field(description="name, as in the values of the options")
    better: Literal["less", "more"] = Field(description="which way is better")
    same: Annotated[float, Field(ge=0, allow_inf_nan=False)] = Field(
        default=0.0, description="difference, in the measure's unit, that is not held against an option"
    )
    same_ratio: Annotated[float, Field(ge=1, allow_inf_nan=False)] = Field(
        default=1.0, description="values within this ratio are called the same too"
    )


class OptionInput(Record):
    """An option with its values; a measure that is left out is not known."""

    name: Name = Field(description="name of the option")
    values: dict[str, Number] = Field(description="value by name of the measure")
    spreads: dict[str, Annotated[float, Field(ge=0, allow_inf_nan=False)]] | None = Field(
        default=None,
        description="one standard deviation by name of the measure, in what it does not share with the other options",
    )


class CompareOptionsInput(Record):
    """Options, measures, and the weights of the person who asks."""

    options: tuple[OptionInput, ...] = Field(
        strict=False, min_length=2, max_length=MOST, description="what is compared"
    )
    measures: tuple[MeasureInput, ...] = Field(strict=False, min_length=1, max_length=MOST, description="by what")
    weights: dict[str, Weight] | None = Field(
        default=None,
        description="how much it matters to go from the worst to the best of these options in a measure; none is assumed",
    )

    @model_validator(mode="after")
    def _names(self) -> CompareOptionsInput:
        measures = [m.name for m in self.measures]
        for names in (measures, [o.name for o in self.options]):
            if len(set(names)) < len(names):
                raise ValueError("a name stands twice")
        for asked in (*(o.values for o in self.options), *(o.spreads or {} for o in self.options), self.weights or {}):
            for name in asked:
                if name not in measures:
                    raise ValueError(f"{name} is not among the measures: {', '.join(measures)}")
        return self


class BeatenOut(Record):
    """An option beaten by another."""

    option: str = Field(description="what is beaten")
    by: str = Field(description="by what")
    better_in: tuple[str, ...] = Field(description="measures in which the other is better; in no known one it is worse")
    unknown: tuple[str, ...] = Field(description="measures not known for both, which were left out")


class ScoreOut(Record):
    """Weighted mean of an option's places between worst and best."""

    option: str = Field(description="option")
    score: float = Field(description="0: worst in every weighted measure; 1: best in every one")


class WeightFlipOut(Record):
    """Where the choice turns if one weight alone is moved."""

    measure: str = Field(description="measure whose weight is moved")
    weight: float = Field(description="weight at which another option comes first")
    now: float = Field(description="weight as given")
    then: str = Field(description="the option that comes first beyond it")


class CompareOptionsOutput(Record):
    """What the measures say without weights, and what the weights make of it."""

    beaten: tuple[BeatenOut, ...] = Field(description="every pair in which one option beats the other")
    unbeaten: tuple[str, ...] = Field(description="options that none beats")
    scores: tuple[ScoreOut, ...] = Field(description="by the weights, best first; empty without weights")
    first: str | None = Field(description="the option that comes first by more than the spread; null: no clear winner")
    ahead: str | None = Field(description="the option with the highest score, clear or not; null without weights")
    lead: float | None = Field(description="its score less the next one's; null without weights")
    lead_sd: float | None = Field(
        description="one standard deviation of that lead from the spreads; null without weights"
    )
    chance_ahead: float | None = Field(
        description="chance that it is ahead, with a normal spread; null without weights"
    )
    flips: tuple[WeightFlipOut, ...] = Field(description="nearest weight at which the first option is overtaken")


@calculation(
    "compare-options",
    summary="Who is beaten outright among several options, and what one's own weights make of the rest",
    formula="beaten: no better in any known measure and worse in one; score: sum of weight x (value - worst) / (best - worst), "
    "over the sum of the weights; clear where the lead is larger than its spread",
    valid="any options and measures; without weights nothing is scored, and no clear winner is an answer",
    input=CompareOptionsInput,
    output=CompareOptionsOutput,
    example={
        "options": [
            {"name": "manual small incision", "values": {"risk": 0.02, "minutes": 9, "astigmatism": 1.1}},
            {"name": "phacoemulsification", "values": {"risk": 0.03, "minutes": 12, "astigmatism": 0.4}},
            {"name": "extracapsular", "values": {"risk": 0.05, "minutes": 25, "astigmatism": 2.2}},
        ],
        "measures": [
            {"name": "risk", "better": "less", "same_ratio": 1.5},
            {"name": "minutes", "better": "less"},
            {"name": "astigmatism", "better": "less", "same": 0.25},
        ],
        "weights": {"risk": 5, "minutes": 1, "astigmatism": 3},
    },
)
def compare_options(given: CompareOptionsInput, use: Reader) -> tuple[CompareOptionsOutput, list[Doubt]]:
    """The comparison."""
    del use
    measures = [Measure(m.name, m.better, m.same, m.same_ratio) for m in given.measures]
    options = {o.name: o.values for o in given.options}
    lost = dominance.beaten(options, measures)
    weights = given.weights or {}
    found = dominance.scores(options, measures, weights)
    out = {b.option for b in lost}
    unbeaten = tuple(o for o in options if o not in out)
    spreads = {o.name: o.spreads or {} for o in given.options}
    lead = dominance.lead(options, measures, weights, spreads)
    first = _first(lead, unbeaten)
    doubts = []
    if given.weights is None:
        doubts.append(Doubt("no-weights", tr("No weights were given: only what is beaten outright is said.")))
    if lead is not None and not any(spreads.values()):
        doubts.append(Doubt("no-spreads", tr("No spreads were given: a lead of any size counts as one.")))
    if first is None:
        doubts.append(Doubt("no-clear-winner", tr("No option is clearly ahead.")))
    lacking = sorted({m.name for m in measures for o in options.values() if m.name not in o})
    if lacking:
        names = ", ".join(lacking)
        doubts.append(Doubt("measure-unknown", tr("Not known for every option, and not scored: {names}.", names=names)))
    result = CompareOptionsOutput(
        beaten=tuple(BeatenOut(option=b.option, by=b.by, better_in=b.better_in, unknown=b.unknown) for b in lost),
        unbeaten=unbeaten,
        scores=tuple(
            ScoreOut(option=o, score=s) for o, s in sorted(found.items(), key=lambda item: (-item[1], item[0]))
        ),
        first=first,
        ahead=lead.first if lead else None,
        lead=lead.lead if lead else None,
        lead_sd=lead.sd if lead else None,
        chance_ahead=lead.chance if lead else None,
        flips=tuple(
            WeightFlipOut(measure=f.measure, weight=f.weight, now=f.now, then=f.then)
            for f in dominance.weight_flips(options, measures, weights)
        ),
    )
    return result, doubts


def _first(lead: dominance.Lead | None, unbeaten: tuple[str, ...]) -> str | None:
    """The clear winner: by more than the spread where weights are given, else the one that is unbeaten alone."""
    if lead is not None:
        return lead.first if lead.clear else None
    return unbeaten[0] if len(unbeaten) == 1 else None


CALCULATIONS = (compare_options,)
