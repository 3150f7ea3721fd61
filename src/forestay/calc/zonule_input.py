"""What is known about a zonule, and which signs and seen facts of it weigh: read from the input and the evidence."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Annotated, Literal, cast

from pydantic import Field

from forestay.answer import Doubt
from forestay.errors import InvalidInput
from forestay.evidence import Reader, Row
from forestay.eye.quantity import within
from forestay.eye.records import Appearance, Person, Signs, Surgery
from forestay.record import Record
from forestay.risk import bayes
from forestay.risk import zonule as engine
from forestay.risk.bayes import Sign
from forestay.risk.zonule import GRADES, Grade
from forestay.text import spelled, tr

Basis = Literal["study", "expert", "own"]


class OwnRatio(Record):
    """A likelihood ratio that this practice uses in the place of the one that ships, with its range."""

    sign: str = Field(description="name of the sign, as the answer lists it among the weights")
    ratio: Annotated[float, within("ratio")]
    low: Annotated[float, within("ratio")] | None = None
    high: Annotated[float, within("ratio")] | None = None


class ZonularSupportInput(Signs, Surgery, Person):
    """Any signs of the eye, findings at surgery, the person's flags and the fellow eye's; left out is "not looked for".

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
    fellow_cataract: bool | None = Field(default=None, description="the fellow eye needs its cataract operation too")
    fellow_chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    own_ratios: tuple[OwnRatio, ...] = Field(
        default=(), strict=False, description="likelihood ratios of this practice in the place of those that ship"
    )


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
    ("aged", "age", lambda given, use: given.age_years >= use.number("zonule_signs.aged_years")),
    ("puncture-folds", "puncture", lambda given, _: given.puncture == "folds"),
    ("puncture-smooth", "puncture", lambda given, _: given.puncture == "smooth"),
)
"""Signs whose ratio is an expert's: name (and row ``zonule_signs.ratio.NAME``), group, whether present."""

EDITABLE = tuple(name for name, _, _ in EXPERT)
"""Signs without measured accuracy: their ratio and its range are a stated prior, which a practice may replace."""

STUDIED = (
    "pseudoexfoliation",
    "chamber-depth",
    "chamber-asymmetry",
    "fellow-zonular-complication",
    "lens-travel",
)
"""Signs whose ratio comes from a study."""

GAP = "dialysis"
"""A seen gap: weakness at its own hours, and no word on the others."""

GRADED = "zonule-grade"
"""The grade that the surgeon gave when the capsule was opened: it is what the estimate is about."""


@dataclass(frozen=True)
class Weighing:
    """Signs with their ratios at the middle and the ends of their ranges; basis and standing by name."""

    signs: tuple[Sign, ...]
    low: tuple[Sign, ...]
    high: tuple[Sign, ...]
    basis: dict[str, tuple[Basis, str]]
    within: tuple[float, ...] | None
    """Relative likelihood of each grade from the travel of the lens; None where it was not measured."""


def seen_facts(given: ZonularSupportInput) -> tuple[str, ...]:
    """Facts that are weakness themselves, by the names of their rows ``zonule_signs.floor.NAME``."""
    present = {
        "phacodonesis-after-movement": given.phacodonesis == "after-movement",
        "phacodonesis-at-rest": given.phacodonesis == "at-rest",
        "subluxated": bool(given.subluxated),
        "iris-lens-gap": bool(given.iris_lens_gap),
        "equator-seen": bool(given.equator_seen),
        "bag-follows": bool(given.bag_follows),
        GAP: bool(given.dialysis_clock_hours),
    }
    return tuple(name for name, seen in present.items() if seen)


def worst(floors: Iterable[Grade]) -> Grade:
    """The mildest grade that all of the floors allow."""
    return GRADES[max((GRADES.index(at) for at in floors), default=0)]


def floors_of(given: ZonularSupportInput, use: Reader) -> dict[str, tuple[Grade, str]]:
    """Each seen fact with the mildest grade that it allows and the standing of that reading."""
    found: dict[str, tuple[Grade, str]] = {}
    for name in seen_facts(given):
        row = use.row(f"zonule_signs.floor.{name}")
        found[name] = (cast(Grade, row.value), row.standing)
    if given.zonule_grade is not None and given.zonule_grade != GRADES[0]:
        found[GRADED] = (given.zonule_grade, "read")
    return found


def seen(
    given: ZonularSupportInput, use: Reader, *, pseudoexfoliation: bool, within: tuple[float, ...] | None
) -> engine.SeenFacts:
    """The seen facts as the engine takes them."""
    floors = floors_of(given, use)
    return engine.SeenFacts(
        floor=worst(at for at, _ in floors.values()),
        floor_elsewhere=worst(at for name, (at, _) in floors.items() if name != GAP),
        gap_hours=tuple(given.dialysis_clock_hours or ()),
        pseudoexfoliation=pseudoexfoliation,
        ceiling=given.zonule_grade or GRADES[-1],
        within=within,
    )


def weigh_signs(
    given: ZonularSupportInput,
    pseudoexfoliation: bool,
    constants: engine.ZonuleConstants,
    use: Reader,
    doubts: list[Doubt],
) -> Weighing:
    """Every sign with a ratio that is present, with its range, basis and standing."""
    own = _own(given)
    middle: list[Sign] = []
    ends: tuple[list[Sign], list[Sign]] = ([], [])
    basis: dict[str, tuple[Basis, str]] = {}

    def add(name: str, group: str, ratio: float, kind: Basis, row: Row | str) -> None:
        low, high = (None, None) if isinstance(row, str) else (row.low, row.high)
        standing = row if isinstance(row, str) else row.standing
        if name in own:
            doubts.append(_own_doubt(own[name], ratio))
            ratio, low, high, kind, standing = own[name].ratio, own[name].low, own[name].high, "own", "assumed"
        middle.append(Sign(name, group, ratio))
        ends[0].append(Sign(name, group, ratio if low is None else min(low, ratio)))
        ends[1].append(Sign(name, group, ratio if high is None else max(high, ratio)))
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
            add(name, group, use.number(row.key), "expert", row)
    if given.fellow_zonular_complication:
        row = use.row("zonule_signs.ratio.fellow-zonular-complication")
        add("fellow-zonular-complication", "history", use.number(row.key), "study", row)
    if _asymmetric(given, use):
        row = use.row("zonule_signs.ratio.chamber-asymmetry")
        add("chamber-asymmetry", "position", use.number(row.key), "study", row)
    within = None
    if given.lens_travel_mm is not None:
        within = _travel(given.lens_travel_mm, use)
        ratio = _weak_ratio(within, constants)
        add("lens-travel", "puncture", ratio, "study", use.row("zonule_signs.travel.mean_mm").standing)
    return Weighing(tuple(middle), tuple(ends[0]), tuple(ends[1]), basis, within)


def sign_words(sign: str) -> str:
    """What a sign that weighs is called."""
    return {
        "iridodonesis": tr("iris trembles"),
        "trauma": tr("blunt injury, no other sign"),
        "no-trauma": tr("no blunt injury, when asked"),
        "vitrectomy": tr("vitrectomised"),
        "connective-tissue-disorder": tr("connective tissue disorder"),
        "very-long-eye": tr("very long eye"),
        "hypermature": tr("hypermature lens"),
        "aged": tr("great age"),
        "puncture-folds": tr("radial folds at the first puncture"),
        "puncture-smooth": tr("the capsule opens smoothly"),
    }.get(sign) or spelled((sign,))


def _own_doubt(own: OwnRatio, ships: float) -> Doubt:
    says = tr(
        "This practice's own figure counts for {sign}: x {ratio:.3g} in the place of x {ships:.3g}.",
        sign=sign_words(own.sign),
        ratio=own.ratio,
        ships=ships,
    )
    return Doubt("own-ratio", says)


def shipped(use: Reader) -> tuple[OwnRatio, ...]:
    """The ratios that ship of the signs without measured accuracy, each with its range."""
    rows = {name: use.row(f"zonule_signs.ratio.{name}") for name in EDITABLE}
    return tuple(
        OwnRatio(sign=name, ratio=use.number(row.key), low=row.low, high=row.high) for name, row in rows.items()
    )


def _own(given: ZonularSupportInput) -> dict[str, OwnRatio]:
    """The practice's own ratios by sign; an unknown sign or an inverted range is an error."""
    known = (*STUDIED, *(name for name, _, _ in EXPERT))
    for number, own in enumerate(given.own_ratios):
        if own.sign not in known:
            raise InvalidInput(
                tr("own_ratios names {sign}, which is no sign.", sign=own.sign),
                field=f"own_ratios.{number}.sign",
                value=own.sign,
                allowed=", ".join(known),
            )
        if (own.low is not None and own.low > own.ratio) or (own.high is not None and own.high < own.ratio):
            raise InvalidInput(
                tr("The range of {sign} does not hold its ratio {ratio:g}.", sign=own.sign, ratio=own.ratio),
                field=f"own_ratios.{number}.ratio",
                value=own.ratio,
                allowed=tr("low, ratio and high in rising order"),
            )
    return {own.sign: own for own in given.own_ratios}


def _travel(travel_mm: float, use: Reader) -> tuple[float, ...]:
    """Likelihood of the travel in each grade, against a normal zonule."""
    means, sds = use.numbers("zonule_signs.travel.mean_mm"), use.numbers("zonule_signs.travel.sd_mm")
    return tuple(math.exp(r) for r in bayes.ordered_log_ratios(travel_mm, means=means, sds=sds))


def _weak_ratio(within: tuple[float, ...], constants: engine.ZonuleConstants) -> float:
    """Likelihood ratio of any weakness: the weak grades in their published proportions against the normal one."""
    counts = constants.grade_counts[1:]
    return sum(c * w for c, w in zip(counts, within[1:], strict=True)) / sum(counts)


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
