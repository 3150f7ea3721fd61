"""How long an operation takes: quantiles by technique, hand, and what a difficult eye adds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import Technique
from forestay.record import Record
from forestay.text import tr

TENTH = NormalDist().inv_cdf(0.9)
"""The tenth and the ninetieth percentile lie this many standard deviations from the middle."""


@dataclass(frozen=True, slots=True)
class Minutes:
    """A time by mean and standard deviation [minutes], read as log-normal: never under nothing, long to the right."""

    mean: float
    sd: float

    def plus(self, other: Minutes) -> Minutes:
        """Two times one after the other, independent."""
        return Minutes(self.mean + other.mean, math.hypot(self.sd, other.sd))

    def times(self, factor: float) -> Minutes:
        """The same work in slower hands."""
        return Minutes(self.mean * factor, self.sd * factor)

    def maybe(self, chance: float) -> Minutes:
        """This time with that probability, else none: mean p m, variance p (s^2 + m^2) - (p m)^2."""
        mean = chance * self.mean
        return Minutes(mean, math.sqrt(max(0.0, chance * (self.sd**2 + self.mean**2) - mean**2)))

    def quantile(self, z: float) -> float:
        """The time that lies ``z`` standard deviations from the middle on the logarithmic scale [minutes]."""
        if self.mean <= 0:
            return 0.0
        spread = math.log1p((self.sd / self.mean) ** 2)
        return math.exp(math.log(self.mean) - spread / 2 + z * math.sqrt(spread))

    def chance_over(self, limit: float) -> float:
        """Probability that it takes longer than ``limit`` [minutes]."""
        if limit <= 0 or self.mean <= 0:
            return 1.0 if limit <= 0 else 0.0
        spread = math.log1p((self.sd / self.mean) ** 2)
        middle = math.log(self.mean) - spread / 2
        if spread == 0:
            return float(math.log(limit) < middle)
        return 1.0 - NormalDist(middle, math.sqrt(spread)).cdf(math.log(limit))


def minutes_row(use: Reader, key: str) -> Minutes:
    """A row of evidence as a time."""
    return Minutes(use.number(key), use.sd(key))


class OperatingTimeInput(Record):
    """One operation."""

    technique: Technique = Field(description="technique")
    surgeon_grade: Literal["consultant", "independent", "senior-trainee", "junior-trainee"] | None = Field(
        default=None, description="grade of the surgeon; absent: a high-volume surgeon, said as a doubt"
    )
    grade: Annotated[float, within("grade")] | None = None
    iris_hooks: bool = Field(default=False, description="iris hooks are placed")
    capsule_hooks: bool = Field(default=False, description="capsule hooks are placed")
    ring: bool = Field(default=False, description="a tension ring is placed")
    dye: bool = Field(default=False, description="the capsule is stained")
    weak_zonule: bool = Field(default=False, description="the zonule is weak")
    general: bool = Field(default=False, description="general anaesthesia")
    trouble_probability: Annotated[float, within("chance")] | None = None


class TimePart(Record):
    """One part of the time."""

    name: str = Field(description="what takes it")
    minutes: float = Field(description="mean minutes")


class OperatingTime(Record):
    """Minutes in theatre, first cut to last suture, with the anaesthetic where it is given in theatre."""

    mean_minutes: float = Field(description="mean")
    sd_minutes: float = Field(description="one standard deviation")
    low_minutes: float = Field(description="one operation in ten is quicker")
    median_minutes: float = Field(description="half are quicker")
    high_minutes: float = Field(description="one operation in ten is slower")
    parts: tuple[TimePart, ...] = Field(description="what the mean is made of")


@calculation(
    "operating-time",
    summary="Minutes that an operation takes, by technique, hand and difficulty",
    formula="sum of parts x hand; variances add; trouble counts with its probability; log-normal quantiles",
    valid="Read for white cataract at one high-volume centre (manual and phaco); the rest is a house choice",
    input=OperatingTimeInput,
    output=OperatingTime,
    example={"technique": "manual-small-incision", "surgeon_grade": "consultant", "iris_hooks": True, "ring": True},
)
def operating_time(given: OperatingTimeInput, use: Reader) -> tuple[OperatingTime, list[Doubt]]:
    """Time of one operation."""
    hand = 1.0 if given.surgeon_grade is None else use.number(f"time.hand.{given.surgeon_grade}")
    parts = [(tr(given.technique.replace("-", " ")), minutes_row(use, f"time.minutes.{given.technique}").times(hand))]
    over = (given.grade or 0.0) - use.number("time.usual_grade")
    if over > 0:
        parts.append((tr("hard nucleus"), minutes_row(use, "time.hard_grade").times(over * hand)))
    for wanted, key, name in (
        (given.iris_hooks, "time.iris_hooks", tr("iris hooks")),
        (given.capsule_hooks, "time.capsule_hooks", tr("capsule hooks")),
        (given.ring, "time.ring", tr("tension ring")),
        (given.dye, "time.dye", tr("dye")),
        (given.weak_zonule, "time.weak_zonule", tr("weak zonule")),
    ):
        if wanted:
            parts.append((name, minutes_row(use, key).times(hand)))
    if given.trouble_probability:
        parts.append(
            (tr("trouble, by its probability"), minutes_row(use, "time.trouble").maybe(given.trouble_probability))
        )
    if given.general:
        parts.append((tr("general anaesthesia"), minutes_row(use, "time.general")))
    total = Minutes(0.0, 0.0)
    for _, part in parts:
        total = total.plus(part)
    doubts = []
    if given.surgeon_grade is None:
        doubts.append(
            Doubt("hand-unknown", tr("The surgeon's grade is not said; quick hands of the trial were taken."))
        )
    return OperatingTime(
        mean_minutes=total.mean,
        sd_minutes=total.sd,
        low_minutes=total.quantile(-TENTH),
        median_minutes=total.quantile(0),
        high_minutes=total.quantile(TENTH),
        parts=tuple(TimePart(name=name, minutes=part.mean) for name, part in parts),
    ), doubts
