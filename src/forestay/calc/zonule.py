"""Calculation of how well the zonule holds, from what was seen."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Annotated, Literal, cast

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import Appearance, Person, Signs
from forestay.record import Record
from forestay.risk import bayes
from forestay.risk import zonule as engine
from forestay.risk.bayes import Sign
from forestay.risk.zonule import GRADES, Grade
from forestay.text import tr


class ZonularSupportInput(Signs, Person):
    """Any signs of the eye, the person's flags and the fellow eye's; what is left out is "not looked for".

    Signs that say nothing about the zonule are accepted and not used.
    """

    side: Literal["left", "right"] = Field(description="which eye")
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    axial_length_mm: Annotated[float, within("axial_length_mm")] | None = None
    appearance: Appearance | None = Field(default=None, description="what the cataract looks like")
    fellow_operated: bool | None = Field(default=None, description="the fellow eye has had its cataract operation")
    fellow_zonular_complication: bool | None = Field(
        default=None, description="the fellow eye's operation met a zonular complication"
    )
    fellow_pseudoexfoliation: bool | None = Field(default=None, description="pseudoexfoliation in the fellow eye")
    fellow_chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None


class GradeOut(Record):
    """One grade of the zonule, as it would be found when the capsule is opened, and its probability."""

    grade: Grade = Field(description="grade as found when the capsule is opened")
    probability: float = Field(description="probability of the grade")


class WeightOut(Record):
    """A sign and what it weighs: ratio after the cap, exponent in its group, standing of the number.

    ``floor`` is filled for a seen fact: it sets the mildest grade possible and is not multiplied; its ratio is shown at
    the cap. ``basis``: ``study``, ``expert`` (no measured accuracy) or ``seen``.
    """

    sign: str = Field(description="sign")
    likelihood_ratio: float = Field(description="likelihood ratio after the cap")
    standing: str = Field(description="standing of the number")
    weight: float = Field(
        description="exponent of the ratio: 1 for the first sign of a group, less for later ones, 0 for a seen fact"
    )
    group: str = Field(description="group of signs that go together")
    basis: Literal["study", "expert", "seen"] = Field(description="study, expert (no measured accuracy) or seen")
    floor: Grade | None = Field(description="mildest grade that a seen fact allows; null for a sign that only weighs")


class ZonularSupport(Record):
    """Grades with probabilities, and the share of healthy support by clock hour 12, 1, … 11 (mean and SD).

    ``event_probability`` (with low and high) is the published chance of a vitrectomy because of zonule weakness, known
    for eyes with pseudoexfoliation only.
    """

    grades: tuple[GradeOut, ...] = Field(description="every grade with its probability")
    zonule_mean: tuple[float, ...] = Field(description="share of healthy support by clock hour 12, 1 ... 11, mean")
    zonule_sd: tuple[float, ...] = Field(description="the same, one standard deviation")
    weights: tuple[WeightOut, ...] = Field(description="what each sign weighed")
    event_probability: float | None = Field(
        description="published chance of a vitrectomy because of zonule weakness; known in pseudoexfoliation only"
    )
    event_low: float | None = Field(description="lower end of it")
    event_high: float | None = Field(description="upper end of it")


Basis = Literal["study", "expert"]


EXPERT: tuple[tuple[str, str, Callable[[ZonularSupportInput, Reader], bool]], ...] = (
    ("iridodonesis", "movement", lambda given, _: bool(given.iridodonesis)),
    ("trauma", "history", lambda given, _: given.trauma is True),
    ("no-trauma", "history", lambda given, _: given.trauma is False),
    ("vitrectomy", "history", lambda given, _: bool(given.vitrectomy)),
    (
        "connective-tissue-disorder",
        "history",
        lambda given, _: given.connective_tissue_disorder not in (None, "none"),
    ),
    (
        "very-long-eye",
        "length",
        lambda given, use: (
            given.axial_length_mm is not None and given.axial_length_mm > use.number("zonule_signs.very_long_eye_mm")
        ),
    ),
    ("hypermature", "lens", lambda given, _: given.appearance == "hypermature"),
)
"""Signs whose ratio is an expert's: name (and row ``zonule_signs.ratio.NAME``), group, whether present."""


WEIGHING = (
    "pseudoexfoliation",
    "phacodonesis",
    "subluxated",
    "iridodonesis",
    "iris_lens_gap",
    "dialysis_clock_hours",
    "trauma",
    "vitrectomy",
    "connective_tissue_disorder",
    "fellow_zonular_complication",
)
"""Findings that set a floor or weigh; one that is absent is named as a doubt."""


GAP = "dialysis"
"""A seen gap: weakness at its own hours, and no word on the others."""


def seen_facts(given: ZonularSupportInput) -> tuple[str, ...]:
    """Facts that are weakness themselves, by the names of their rows ``zonule_signs.floor.NAME``."""
    present = {
        "phacodonesis-after-movement": given.phacodonesis == "after-movement",
        "phacodonesis-at-rest": given.phacodonesis == "at-rest",
        "subluxated": bool(given.subluxated),
        "iris-lens-gap": bool(given.iris_lens_gap),
        GAP: bool(given.dialysis_clock_hours),
    }
    return tuple(name for name, seen in present.items() if seen)


def _worst(floors: Iterable[Grade]) -> Grade:
    """The mildest grade that all of the floors allow."""
    return GRADES[max((GRADES.index(at) for at in floors), default=0)]


def find(given: ZonularSupportInput, use: Reader) -> tuple[engine.ZonularEstimate, list[WeightOut], list[Doubt]]:
    """The engine's estimate (for draws), the weights and the doubts."""
    constants = use.constants(engine.ZonuleConstants)
    doubts: list[Doubt] = []
    pseudoexfoliation = _pseudoexfoliation(given, doubts)
    facts = [use.row(f"zonule_signs.floor.{name}") for name in seen_facts(given)]
    floors = [cast(Grade, fact.value) for fact in facts]
    elsewhere = _worst(at for name, at in zip(seen_facts(given), floors, strict=True) if name != GAP)
    signs, basis = _signs(given, pseudoexfoliation, constants, use, doubts)
    floor = _worst(floors)
    rows = [use.row(f"zonule_signs.share.{grade}") for grade in GRADES]
    found = engine.estimate(
        signs=signs,
        floor=floor,
        floor_elsewhere=elsewhere,
        gap_hours=given.dialysis_clock_hours or (),
        pseudoexfoliation=pseudoexfoliation,
        bands=engine.Bands(tuple(row.low or 0.0 for row in rows), tuple(row.high or 0.0 for row in rows)),
        irregularity=use.sd("zonule_signs.irregularity"),
        constants=constants,
    )
    weights = [
        WeightOut(
            sign=w.sign.name,
            likelihood_ratio=w.likelihood_ratio,
            standing=basis[w.sign.name][1],
            weight=w.weight,
            group=w.sign.group,
            basis=basis[w.sign.name][0],
            floor=None,
        )
        for w in found.weighted
    ]
    weights += [
        WeightOut(
            sign=name,
            likelihood_ratio=constants.ratio_cap,
            standing=fact.standing,
            weight=0.0,
            group="seen",
            basis="seen",
            floor=at,
        )
        for name, fact, at in zip(seen_facts(given), facts, floors, strict=True)
    ]
    if facts:
        doubts.append(
            Doubt(
                "seen-fact",
                tr(
                    "Seen, and weakness itself: {names}. The grade is {floor} or worse, whatever the rates say.",
                    names=", ".join(seen_facts(given)),
                    floor=floor,
                ),
            )
        )
    return found, weights, doubts


@calculation(
    "zonular-support",
    summary="How well the zonule holds by clock hour, from signs, seen facts and the fellow eye",
    formula="odds of weakness = base odds x product of likelihood ratios (half weight for a later sign of one kind); "
    "seen facts set floors; support by hour = share of the grade, 0 at a seen gap",
    valid="Unselected cataract eyes (5447) and eyes with pseudoexfoliation (1059, 315, 174); support is assumed",
    input=ZonularSupportInput,
    output=ZonularSupport,
    example={
        "side": "left",
        "age_years": 74,
        "pseudoexfoliation": True,
        "phacodonesis": "after-movement",
        "chamber_depth_mm": 2.4,
        "fellow_zonular_complication": False,
        "dialysis_clock_hours": [],
    },
)
def zonular_support(given: ZonularSupportInput, use: Reader) -> tuple[ZonularSupport, list[Doubt]]:
    """Probability of each grade and share of healthy support by clock hour."""
    found, weights, doubts = find(given, use)
    doubts += _not_looked_for(given)
    event = _event(given, use) if _pseudoexfoliation(given, []) else (None, None, None)
    result = ZonularSupport(
        grades=tuple(
            GradeOut(grade=grade, probability=p) for grade, p in zip(GRADES, found.probabilities, strict=True)
        ),
        zonule_mean=found.mean,
        zonule_sd=found.sd,
        weights=tuple(weights),
        event_probability=event[0],
        event_low=event[1],
        event_high=event[2],
    )
    return result, doubts


def _not_looked_for(given: ZonularSupportInput) -> list[Doubt]:
    """What could have weighed and was not given: it counts neither for nor against."""
    absent = [name for name in WEIGHING if getattr(given, name) is None]
    if not absent:
        return []
    says = tr("Not given, and counted neither for nor against weakness: {names}.", names=", ".join(absent))
    return [Doubt("signs-not-given", says)]


def _pseudoexfoliation(given: ZonularSupportInput, doubts: list[Doubt]) -> bool:
    """Whether the eye counts as having it: its own sign, or the fellow eye's."""
    if given.pseudoexfoliation:
        return True
    if given.fellow_pseudoexfoliation:
        doubts.append(
            Doubt(
                "fellow-pseudoexfoliation",
                tr(
                    "The fellow eye has pseudoexfoliation: this eye is treated as having it, since clean fellow "
                    "eyes met as many complications."
                ),
            )
        )
        return True
    return False


def _signs(
    given: ZonularSupportInput,
    pseudoexfoliation: bool,
    constants: engine.ZonuleConstants,
    use: Reader,
    doubts: list[Doubt],
) -> tuple[list[Sign], dict[str, tuple[Basis, str]]]:
    """Every sign with a ratio that is present, with its basis and standing by name."""
    signs: list[Sign] = []
    basis: dict[str, tuple[Basis, str]] = {}

    def add(name: str, group: str, ratio: float, kind: Basis, standing: str) -> None:
        signs.append(Sign(name, group, ratio))
        basis[name] = (kind, standing)

    if pseudoexfoliation:
        row = use.row("zonule_signs.pseudoexfoliation_weak")
        ratio = bayes.ratio_between(constants.weak_share, use.number(row.key))
        add("pseudoexfoliation", "pseudoexfoliation", ratio, "study", row.standing)
        if given.chamber_depth_mm is not None:
            add("chamber-depth", "position", _chamber_ratio(given.chamber_depth_mm, use, doubts), "study", "derived")
    for name, group, present in EXPERT:
        if present(given, use):
            row = use.row(f"zonule_signs.ratio.{name}")
            add(name, group, use.number(row.key), "expert", row.standing)
    if given.fellow_zonular_complication:
        row = use.row("zonule_signs.ratio.fellow-zonular-complication")
        add("fellow-zonular-complication", "history", use.number(row.key), "study", row.standing)
    if _asymmetric(given, use):
        row = use.row("zonule_signs.ratio.chamber-asymmetry")
        add("chamber-asymmetry", "position", use.number(row.key), "study", row.standing)
    return signs, basis


def _chamber_ratio(chamber_depth_mm: float, use: Reader, doubts: list[Doubt]) -> float:
    low, high = use.numbers("zonule_signs.chamber.range_mm")
    if not low <= chamber_depth_mm <= high:
        doubts.append(
            Doubt(
                "outside-studied-range",
                tr(
                    "A chamber of {depth:g} mm is outside {low:g} to {high:g} mm, where its meaning in "
                    "pseudoexfoliation was studied; the nearer end counts.",
                    depth=chamber_depth_mm,
                    low=low,
                    high=high,
                ),
            )
        )
    return float(
        bayes.normal_ratio(
            min(max(chamber_depth_mm, low), high),
            mean_with=use.number("zonule_signs.chamber.complicated"),
            sd_with=use.sd("zonule_signs.chamber.complicated"),
            mean_without=use.number("zonule_signs.chamber.uncomplicated"),
            sd_without=use.sd("zonule_signs.chamber.uncomplicated"),
        )
    )


def _asymmetric(given: ZonularSupportInput, use: Reader) -> bool:
    """Chambers of unlike depth; an operated fellow eye does not count."""
    if given.chamber_depth_mm is None or given.fellow_chamber_depth_mm is None or given.fellow_operated:
        return False
    difference = abs(given.chamber_depth_mm - given.fellow_chamber_depth_mm)
    return difference > use.number("zonule_signs.chamber.asymmetry_mm")


def _event(given: ZonularSupportInput, use: Reader) -> tuple[float, float, float]:
    """Chance of a vitrectomy because of zonule weakness in pseudoexfoliation, by the published signs."""
    row = use.row("zonule_signs.event.pseudoexfoliation")
    cap = use.number("zonule_signs.ratio_cap")
    signs = []
    moving = given.phacodonesis in ("after-movement", "at-rest") or given.iridodonesis or given.subluxated
    if moving:
        signs.append(Sign("movement", "movement", use.number("zonule_signs.event.movement")))
    if given.fellow_zonular_complication:
        ratio = use.number("zonule_signs.ratio.fellow-zonular-complication")
        signs.append(Sign("fellow-zonular-complication", "history", ratio))
    looked = given.phacodonesis == "none" and given.iridodonesis is False and given.subluxated is False
    if looked and not signs:
        signs.append(Sign("no-sign", "none", use.number("zonule_signs.event.no_sign")))
    ratio = bayes.product(bayes.weigh(signs, cap=cap, later_weight=use.number("zonule_signs.later_weight")))
    low, high = use.number("zonule_signs.total_low"), use.number("zonule_signs.total_high")
    priors = (use.number(row.key), row.low or 0.0, row.high or 0.0)
    found = [min(max(float(bayes.update(prior, ratio)), low), high) for prior in priors]
    return found[0], found[1], found[2]


CALCULATIONS = (zonular_support,)
