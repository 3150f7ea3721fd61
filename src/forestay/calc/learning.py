"""Calculations of learning: whether told intervals held, and how a trainee comes along."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.learning.predictions import Span, score_spans
from forestay.learning.trainees import Turn, stretches
from forestay.record import Record
from forestay.text import tr

Pair = tuple[float, float]


class ToldInterval(Record):
    """A value told with its interval, and what came."""

    expected: float = Field(description="value that was told")
    low: float = Field(description="lower end of its interval")
    high: float = Field(description="upper end of its interval")
    came: float | None = Field(None, description="what came; left out while it is not known")


class CoverageInput(Record):
    """Told intervals of one quantity, all at one level and in one unit."""

    told: tuple[ToldInterval, ...] = Field(strict=False, min_length=1, description="intervals, kept before the truth")
    told_level: Annotated[float, within("level")] = Field(description="level at which they were told")
    level: Annotated[float, within("level")] | None = None


class Coverage(Record):
    """How often they held, in cases, shares and the unit of the values."""

    n: int = Field(description="intervals whose truth is known")
    waiting: int = Field(description="intervals that still wait for it")
    inside: int = Field(description="values within their interval; an end counts as inside")
    below: int = Field(description="values below it")
    above: int = Field(description="values above it")
    coverage: float = Field(description="share inside")
    exact: Pair = Field(description="exact interval of that share")
    verdict: str = Field(description="as-told, too-narrow or too-wide")
    mean_error: float = Field(description="what came less what was told, mean")
    sd: float | None = Field(description="standard deviation of that; null for one value")
    width: float = Field(description="mean width of the intervals")
    interval_score: float = Field(description="mean width + 2 / (1 - level) x distance outside; less is better")


@calculation(
    "interval-coverage",
    summary="Whether told intervals held what came as often as they were told to",
    formula="share of values with low <= value <= high; exact binomial interval; score of Gneiting and Raftery 2007",
    valid="intervals kept before the truth was known, none left out because of what came",
    input=CoverageInput,
    output=Coverage,
    example={
        "told": [
            {"expected": -0.5, "low": -1.3, "high": 0.3, "came": -0.25},
            {"expected": -0.5, "low": -1.3, "high": 0.3, "came": 0.5},
            {"expected": -0.5, "low": -1.3, "high": 0.3},
        ],
        "told_level": 0.9,
    },
)
def interval_coverage(given: CoverageInput, use: Reader) -> tuple[Coverage, list[Doubt]]:
    """The coverage with its interval, and how wide the intervals were."""
    for number, one in enumerate(given.told):
        if not one.low <= one.expected <= one.high:
            field = f"told.{number}.expected"
            raise InvalidInput(
                tr("{field} is {value:g}; it must lie within its interval.", field=field, value=one.expected),
                field=field,
                value=one.expected,
                allowed=tr("{low:g} to {high:g}", low=one.low, high=one.high),
            )
    spans = [Span("", "", one.expected, one.low, one.high, given.told_level, one.came) for one in given.told]
    level = given.level if given.level is not None else use.number("audit.usual_level")
    found = score_spans(spans, level=level)
    if found is None:
        raise InvalidInput(
            tr("No truth is known yet: at least one interval needs came."), field="told", allowed=tr("a number in came")
        )
    doubts = []
    if found.waiting:
        says = tr("{n} intervals still wait; those who did not come back may be the worst.", n=found.waiting)
        doubts.append(Doubt("waiting", says))
    answer = Coverage(
        n=found.n,
        waiting=found.waiting,
        inside=found.inside,
        below=found.below,
        above=found.above,
        coverage=found.coverage,
        exact=(found.coverage_low, found.coverage_high),
        verdict=found.verdict,
        mean_error=found.mean_error,
        sd=found.sd,
        width=found.width,
        interval_score=found.interval_score,
    )
    return answer, doubts


Steps = tuple[Annotated[str, Field(min_length=1, max_length=100)], ...]


class TurnInput(Record):
    """One operation that a trainee began."""

    own: Steps = Field(strict=False, description="steps that the trainee did")
    others: Steps = Field((), strict=False, description="steps that somebody else did")
    agreed: Steps = Field((), strict=False, description="steps that were to be somebody else's from the start")
    failed: bool = Field(description="whether the operation failed, as the programme counts it")
    expected: Annotated[float, within("probability")] | None = Field(
        default=None, description="probability of failure told before"
    )


class TraineeInput(Record):
    """A trainee's operations in their order."""

    operations: tuple[TurnInput, ...] = Field(strict=False, min_length=1, description="operations, none left out")
    stretch: int | None = Field(None, ge=1, le=1000, description="operations counted together")


class StretchOut(Record):
    """Consecutive operations."""

    first: int = Field(description="number of the first one, counted from 1")
    n: int = Field(description="operations")
    alone: int = Field(description="every step by the trainee")
    as_agreed: int = Field(description="others did agreed steps only")
    taken_over: int = Field(description="somebody else did a step that was meant for the trainee")
    taken_exact: Pair = Field(description="exact interval of the share taken over")
    own_share: float = Field(description="steps by own hand, of all")
    failed: int = Field(description="operations that failed")
    expected: float | None = Field(description="failures told, over the operations that were told")


class TraineeOut(Record):
    """The operations in stretches."""

    stretches: tuple[StretchOut, ...] = Field(description="blocks of operations; a short last one joins the one before")
    taken_at: tuple[str | None, ...] = Field(description="for each operation, the step at which it was taken over")


@calculation(
    "trainee-turns",
    summary="A trainee's operations: who did the steps, and how often somebody took over",
    formula="taken over: a step by somebody else that was not agreed to be; counts and exact intervals by stretch",
    valid="operations begun by one trainee, in order, none left out; difficulty is not in it but for the told risk",
    input=TraineeInput,
    output=TraineeOut,
    example={
        "operations": [
            {"own": ["tunnel"], "others": ["rotation", "lens"], "agreed": ["rotation"], "failed": False},
            {"own": ["tunnel", "lens"], "others": ["rotation"], "agreed": ["rotation"], "failed": False},
            {"own": ["tunnel", "rotation", "lens"], "failed": False},
        ],
        "stretch": 3,
    },
)
def trainee_turns(given: TraineeInput, use: Reader) -> tuple[TraineeOut, list[Doubt]]:
    """Stretches of operations with what happened in each."""
    turns = [Turn(o.own, o.others, o.agreed, o.failed, o.expected) for o in given.operations]
    size = given.stretch if given.stretch is not None else int(use.number("audit.trainee_stretch"))
    fewest = min(len(turns), size, int(use.number("audit.smallest_group")))
    found = stretches(turns, size=size, fewest=fewest, level=use.number("audit.usual_level"))
    answer = TraineeOut(
        stretches=tuple(
            StretchOut(
                first=s.first,
                n=s.n,
                alone=s.alone,
                as_agreed=s.as_agreed,
                taken_over=s.taken_over,
                taken_exact=(s.taken_low, s.taken_high),
                own_share=s.own_share,
                failed=s.failed,
                expected=s.expected,
            )
            for s in found
        ),
        taken_at=tuple(turn.taken_at for turn in turns),
    )
    says = tr("A take-over in time is a success of supervision, not a failure; harder cases are taken over more often.")
    return answer, [Doubt("take-over", says)]


CALCULATIONS = (interval_coverage, trainee_turns)
