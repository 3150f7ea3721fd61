"""Calculations of how well the zonule holds, from what was seen, and of what a finding at surgery would change."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.zonule_input import (
    OwnRatio,
    ZonularSupportInput,
    floors_of,
    seen,
    seen_facts,
    weigh_signs,
)
from forestay.evidence import Reader
from forestay.record import Record
from forestay.risk import bayes
from forestay.risk import zonule as engine
from forestay.risk.bayes import Sign
from forestay.risk.zonule import GRADES, Grade
from forestay.text import spelled, tr

__all__ = ["CALCULATIONS", "OwnRatio", "ZonularSupportInput", "find", "zonular_findings", "zonular_support"]


class GradeOut(Record):
    """One grade of the zonule, as it would be found when the capsule is opened, and its probability."""

    grade: Grade = Field(description="grade as found when the capsule is opened")
    probability: float = Field(description="probability of the grade")


class WeightOut(Record):
    """A sign and what it weighs: ratio after the cap, exponent in its group, standing of the number.

    ``floor`` is filled for a seen fact: it sets the mildest grade possible and is not multiplied; its ratio is shown at
    the cap. ``basis``: ``study``, ``expert`` (no measured accuracy), ``own`` (this practice's) or ``seen``.
    """

    sign: str = Field(description="sign")
    likelihood_ratio: float = Field(description="likelihood ratio after the cap")
    low: float | None = Field(description="lower end of its range; null where none is stated")
    high: float | None = Field(description="upper end of its range; null where none is stated")
    standing: str = Field(description="standing of the number")
    weight: float = Field(
        description="exponent of the ratio: 1 for the first sign of a group, less for later ones, 0 for a seen fact"
    )
    group: str = Field(description="group of signs that go together")
    basis: Literal["study", "expert", "own", "seen"] = Field(
        description="study, expert (no measured accuracy), own (this practice's) or seen"
    )
    floor: Grade | None = Field(description="mildest grade that a seen fact allows; null for a sign that only weighs")


class ZonularSupport(Record):
    """Grades with probabilities, and the share of healthy support by clock hour 12, 1, … 11 (mean and SD).

    ``weak_probability`` is that of any grade but normal; low and high: with every ratio at the ends of its range.
    ``pattern``: ``none`` (nothing seen), ``all-round``, ``sector`` (a gap is seen) or ``both``.
    ``event_probability`` (with low and high) is the published chance of a vitrectomy because of zonule weakness, known
    for eyes with pseudoexfoliation only.
    """

    grades: tuple[GradeOut, ...] = Field(description="every grade with its probability")
    weak_probability: float = Field(description="probability that the zonule is not normal")
    weak_low: float = Field(description="the same with every ratio at the lower end of its range")
    weak_high: float = Field(description="the same with every ratio at the upper end of its range")
    pattern: Literal["none", "all-round", "sector", "both"] = Field(
        description="where weakness is seen: nowhere, all round, in a sector (a gap), or both"
    )
    zonule_mean: tuple[float, ...] = Field(description="share of healthy support by clock hour 12, 1 ... 11, mean")
    zonule_sd: tuple[float, ...] = Field(description="the same, one standard deviation")
    weights: tuple[WeightOut, ...] = Field(description="what each sign weighed")
    event_probability: float | None = Field(
        description="published chance of a vitrectomy because of zonule weakness; known in pseudoexfoliation only"
    )
    event_low: float | None = Field(description="lower end of it")
    event_high: float | None = Field(description="upper end of it")


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


def find(given: ZonularSupportInput, use: Reader) -> tuple[engine.ZonularEstimate, list[WeightOut], list[Doubt]]:
    """The engine's estimate (for draws), the weights and the doubts."""
    constants = use.constants(engine.ZonuleConstants)
    doubts: list[Doubt] = []
    pseudoexfoliation = _pseudoexfoliation(given, doubts)
    weighing = weigh_signs(given, pseudoexfoliation, constants, use, doubts)
    facts = seen(given, use, pseudoexfoliation=pseudoexfoliation, within=weighing.within)
    rows = [use.row(f"zonule_signs.share.{grade}") for grade in GRADES]
    found = engine.estimate(
        signs=weighing.signs,
        signs_low=weighing.low,
        signs_high=weighing.high,
        seen=facts,
        bands=engine.Bands(tuple(row.low or 0.0 for row in rows), tuple(row.high or 0.0 for row in rows)),
        irregularity=use.sd("zonule_signs.irregularity"),
        constants=constants,
    )
    ends = {
        low.name: (low.likelihood_ratio, high.likelihood_ratio)
        for low, high in zip(weighing.low, weighing.high, strict=True)
    }
    weights = []
    for w in found.weighted:
        low, high = ends[w.sign.name]
        spread = low != high
        weights.append(
            WeightOut(
                sign=w.sign.name,
                likelihood_ratio=w.likelihood_ratio,
                low=low if spread else None,
                high=high if spread else None,
                standing=weighing.basis[w.sign.name][1],
                weight=w.weight,
                group=w.sign.group,
                basis=weighing.basis[w.sign.name][0],
                floor=None,
            )
        )
    floors = floors_of(given, use)
    weights += [
        WeightOut(
            sign=name,
            likelihood_ratio=constants.ratio_cap,
            low=None,
            high=None,
            standing=standing,
            weight=0.0,
            group="seen",
            basis="seen",
            floor=at,
        )
        for name, (at, standing) in floors.items()
    ]
    doubts += _seen_doubts(given, facts, list(floors))
    return found, weights, doubts


def _seen_doubts(given: ZonularSupportInput, facts: engine.SeenFacts, names: list[str]) -> list[Doubt]:
    """What seen facts did, and where the grade given at surgery contradicts them."""
    doubts = []
    if names:
        doubts.append(
            Doubt(
                "seen-fact",
                tr(
                    "Seen, and weakness itself: {names}. The grade is {floor} or worse, whatever the rates say.",
                    names=spelled(names),
                    floor=spelled((facts.floor,)),
                ),
            )
        )
    if given.zonule_grade is not None and given.zonule_grade != facts.floor:
        doubts.append(
            Doubt(
                "grade-contradicts-facts",
                tr(
                    "The zonule was graded {grade} at surgery, but what was seen allows {floor} at the mildest; the worse counts.",
                    grade=spelled((given.zonule_grade,)),
                    floor=spelled((facts.floor,)),
                ),
            )
        )
    return doubts


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
        weak_probability=1 - found.probabilities[0],
        weak_low=found.weak_range[0],
        weak_high=found.weak_range[1],
        pattern=_pattern(given),
        zonule_mean=found.mean,
        zonule_sd=found.sd,
        weights=tuple(weights),
        event_probability=event[0],
        event_low=event[1],
        event_high=event[2],
    )
    return result, doubts


def _pattern(given: ZonularSupportInput) -> Literal["none", "all-round", "sector", "both"]:
    """Where weakness is seen. Pseudoexfoliation weakens all round, also beside a seen gap."""
    facts = {name for name in seen_facts(given) if name != "dialysis"}
    graded = given.zonule_grade not in (None, GRADES[0])
    round_about = bool(facts) or graded or _pseudoexfoliation(given, [])
    if given.dialysis_clock_hours:
        return "both" if round_about else "sector"
    return "all-round" if round_about else "none"


def _not_looked_for(given: ZonularSupportInput) -> list[Doubt]:
    """What could have weighed and was not given: it counts neither for nor against."""
    absent = [name for name in WEIGHING if getattr(given, name) is None]
    if not absent:
        return []
    says = tr("Not given, and counted neither for nor against weakness: {names}.", names=spelled(absent))
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


class FindingOut(Record):
    """What one finding at surgery would make of the estimate."""

    finding: str = Field(description="key of the finding")
    label: str = Field(description="the finding in words")
    keys: dict[str, Any] = Field(description="the finding as keys of the input")
    weak_before: float = Field(description="probability that the zonule is not normal, before it")
    weak_after: float = Field(description="the same after it")
    marked_before: float = Field(description="probability of a very weak or extremely weak zonule, before it")
    marked_after: float = Field(description="the same after it")
    support_before: float = Field(description="healthy-equivalent clock hours of zonule, before it, of 12")
    support_after: float = Field(description="the same after it")


class ZonularFindings(Record):
    """Each finding that may come at surgery, with the estimate before and after it."""

    findings: tuple[FindingOut, ...] = Field(description="findings in the order in which they may come")


def findings_at_surgery(use: Reader) -> tuple[tuple[str, str, dict[str, Any]], ...]:
    """Key, words and input keys of each finding that is worked out beforehand; the travels are those of the study."""
    means = use.numbers("zonule_signs.travel.mean_mm")
    travels = tuple(
        (
            f"travel-{index}",
            tr("the lens travels {mm:.1f} mm when its capsule is first held", mm=mm),
            {"lens_travel_mm": mm},
        )
        for index, mm in ((0, means[0]), (2, means[2]))
    )
    return (
        ("puncture-smooth", tr("the capsule opens smoothly"), {"puncture": "smooth"}),
        ("puncture-folds", tr("radial folds at the first puncture"), {"puncture": "folds"}),
        *travels,
        ("equator-seen", tr("the edge of the lens comes into view"), {"equator_seen": True}),
        ("iris-lens-gap", tr("a gap opens between iris and lens"), {"iris_lens_gap": True}),
        ("bag-follows", tr("the whole bag comes along with the nucleus"), {"bag_follows": True}),
    )


def after_finding(given: ZonularSupportInput, keys: dict[str, Any], use: Reader) -> engine.ZonularEstimate:
    """The estimate of the same eye with a finding added."""
    return find(given.model_copy(update=keys), use)[0]


@calculation(
    "zonular-findings",
    summary="What each finding at surgery would make of the estimate of the zonule",
    formula="the estimate of zonular-support with and without the finding",
    valid="as zonular-support; the travel of the lens was measured in pig eyes",
    input=ZonularSupportInput,
    output=ZonularFindings,
    example={"side": "left", "age_years": 74, "pseudoexfoliation": True},
)
def zonular_findings(given: ZonularSupportInput, use: Reader) -> tuple[ZonularFindings, list[Doubt]]:
    """Every finding in turn, each alone on what is known now."""
    before, _, doubts = find(given, use)
    rows = []
    for key, label, keys in findings_at_surgery(use):
        after = after_finding(given, keys, use)
        rows.append(
            FindingOut(
                finding=key,
                label=label,
                keys=keys,
                weak_before=1 - before.probabilities[0],
                weak_after=1 - after.probabilities[0],
                marked_before=sum(before.probabilities[2:]),
                marked_after=sum(after.probabilities[2:]),
                support_before=sum(before.mean),
                support_after=sum(after.mean),
            )
        )
    return ZonularFindings(findings=tuple(rows)), doubts


CALCULATIONS = (zonular_support, zonular_findings)
