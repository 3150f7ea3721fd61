"""The calculation ``difficulty-points``: published point tables side by side. Points order eyes; they are no percentages."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.record import Record
from forestay.text import tr


class DifficultyPointsInput(Record):
    """Signs as the tables name them; what is left out counts no points."""

    dense: bool = Field(default=False, description="dense, total, white or brown cataract")
    grade: Annotated[float, within("grade")] | None = None
    pseudoexfoliation: bool = Field(default=False, description="pseudoexfoliation material")
    phacodonesis: bool = Field(default=False, description="movement of the lens")
    vitrectomy: bool = Field(default=False, description="earlier vitrectomy")
    corneal_scar: bool = Field(default=False, description="corneal scar")
    very_small_pupil: bool = Field(default=False, description="pupil under 3 mm after drops")
    poor_pupil: bool = Field(default=False, description="poor dilatation or synechiae")
    shallow_chamber: bool = Field(default=False, description="chamber under 2.5 mm")
    very_old: bool = Field(default=False, description="older than 88 years")
    high_ametropia: bool = Field(default=False, description="ametropia over 6 D")
    capsule_plaque: bool = Field(default=False, description="plaque on the posterior capsule")
    posterior_polar: bool = Field(default=False, description="posterior polar cataract")
    hard_position: bool = Field(default=False, description="hard to position, or another difficulty of that kind")
    only_eye: bool = Field(default=False, description="the other eye does not see usefully")
    alpha_blocker: bool = Field(default=False, description="alpha-blocker now or ever")
    cannot_lie_flat: bool = Field(default=False, description="cannot lie flat")
    anxiety: bool = Field(default=False, description="severe anxiety")
    head_tremor: bool = Field(default=False, description="head tremor")
    angle_closure: bool = Field(default=False, description="past angle closure")
    fellow_complication: bool = Field(default=False, description="complication in the fellow eye's operation")
    long_eye: bool = Field(default=False, description="axial length over 27 mm")
    short_eye: bool = Field(default=False, description="axial length under 20 mm")


class DifficultyPoints(Record):
    """Points by table. Only the table of 2004 has rates, and those by group; its last group held 25 eyes."""

    points_2004: int = Field(description="points of the table of 2004")
    group_2004: int = Field(description="its group, 1 to 4")
    any_complication: float = Field(description="published share with any complication in that group")
    capsule_rupture: float = Field(description="published share with capsule rupture in that group")
    eyes: int = Field(description="operations in that group")
    points_2020: int = Field(description="points of the table of 2020")
    consultant: bool = Field(description="whether the table of 2020 asks for a consultant")
    points_2006: int = Field(description="points of the table of 2006")


@calculation(
    "difficulty-points",
    summary="Published point tables of difficulty side by side, with the rates of the one that has them",
    formula="sum of the points of each sign; rates by group of the table of 2004",
    valid="phacoemulsification; points order eyes and are never turned into a percentage but by that table",
    input=DifficultyPointsInput,
    output=DifficultyPoints,
    example={"dense": True, "pseudoexfoliation": True, "very_small_pupil": True, "shallow_chamber": True},
)
def difficulty_points(given: DifficultyPointsInput, use: Reader) -> tuple[DifficultyPoints, list[Doubt]]:
    """Points of three tables for the same signs."""

    def points(table: str) -> int:
        return round(sum(float(worth) for sign, worth in use.table(table).items() if getattr(given, sign)))

    first = points("points.muhtaseb")
    group = sum(first >= fewest for fewest in use.numbers("points.muhtaseb_groups_from"))
    soft, middle, hard = use.numbers("points.habib_nucleus")
    nucleus = hard if given.dense else middle if given.grade is not None and given.grade >= MIDDLE_GRADE else soft
    newer = points("points.han")
    eyes = round(use.numbers("points.muhtaseb_eyes")[group - 1])
    result = DifficultyPoints(
        points_2004=first,
        group_2004=group,
        any_complication=use.numbers("points.muhtaseb_any")[group - 1],
        capsule_rupture=use.numbers("points.muhtaseb_rupture")[group - 1],
        eyes=eyes,
        points_2020=newer,
        consultant=newer > use.number("points.han_consultant_over"),
        points_2006=points("points.habib") + round(nucleus),
    )
    says = tr("The group's rates come from {eyes} operations: the fewer, the wider they are to be read.", eyes=eyes)
    return result, [Doubt("rates-by-group", says)]


MIDDLE_GRADE = 3
"""Hardness that the table of 2006 calls 3."""

CALCULATIONS = (difficulty_points,)
