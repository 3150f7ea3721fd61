"""Where the plan turns: the value of each input at which decision or technique change, the rest of the eye as it is.

A what-if, not a plan: it asks the plan itself, many times, and is worked out apart from it and kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from forestay.errors import ForestayError
from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.eye.situation import Situation
from forestay.eye.validation import validate
from forestay.plan.context import Context
from forestay.plan.make import make, outcome
from forestay.plan.ruleview import domains
from forestay.plan.words import TECHNIQUES
from forestay.text import field_words, grouped, tr

NUMBERS = {
    "lens.grade": "flip.grade",
    "biometry.endothelial_count_per_mm2": "flip.count_per_mm2",
    "biometry.chamber_depth_mm": "flip.chamber_depth_mm",
    "biometry.axial_length_mm": "flip.axial_length_mm",
    "signs.pupil_dilated_mm": "flip.pupil_mm",
    "eye.pressure_mmhg": "flip.pressure_mmhg",
    "person.inr": "flip.inr",
    "person.age_years": "flip.age_years",
}
"""Inputs that are moved, with the row of the range in which they are."""
FLAGS = (
    "signs.vitrectomy",
    "signs.filtering_bleb",
    "signs.subluxated",
    "signs.corneal_opacity",
    "signs.guttae",
    "lens.posterior_polar",
    "eye.only_eye",
    "person.lies_flat",
)
"""Findings that are turned round."""
WORDS = {"signs.phacodonesis": ("none", "after-movement", "at-rest"), "theatre.retina_service": ("in-house", "none")}
"""Findings that are given each of these words."""
BISECTION_STEPS = 8
"""Halvings between two values that plan differently: 1/256 of the gap between them."""
GRID_STEPS = 4
"""Values tried between the thresholds of the rules and the ends of the range."""
WRITTEN_LIMIT = 1000
"""Numbers from here on are written with a comma and no decimals."""
GAP = "signs.dialysis_clock_hours"
Outcome = tuple[str, str]
"""Decision and technique."""


@dataclass(frozen=True)
class Flip:
    """One input at which the plan turns. ``value``: the number, word or True/False from which on it is another plan."""

    field: str
    label: str
    now: Any
    value: Any
    unit: str
    side: str
    """``below`` or ``above`` for a number, ``is`` for a word or a finding."""
    decision: str
    technique: str
    says: str


@dataclass(frozen=True)
class Flips:
    """Everything at which the plan turns, and what was tried and turns nothing."""

    decision: str
    technique: str
    rows: tuple[Flip, ...]
    steady: tuple[str, ...]
    tried: int


class _Asked:
    """The plan's outcome for a value of one input, each asked once."""

    def __init__(self, situation: Situation, context: Context) -> None:
        self._situation = situation
        self._context = context
        self.data = situation.case.model_dump(mode="python", exclude_none=True)
        self.count = 0

    def outcome(self, field: str | None = None, value: Any = None) -> Outcome | None:
        """Decision and technique; None where the value is refused as impossible beside the others."""
        data = self.data
        if field is not None:
            section, key = field.split(".")
            data = {**data, section: {**data.get(section, {}), key: value}}
        self.count += 1
        try:
            case = validate(CaseFile, data)
            return outcome(self._situation.model_copy(update={"case": case}), self._context)
        except ForestayError:
            return None


def flips(situation: Situation, context: Context) -> Flips:
    """Every input at which this plan turns, nearest first within each; about a hundred plans."""
    asked = _Asked(situation.as_tried(), context)
    here = asked.outcome()
    use = context.evidence.reader()
    if here is None:  # the case itself is refused: say so as the plan does
        make(situation, context)
        raise AssertionError("a refused case makes no plan")
    known = asked.data
    rows: list[Flip] = []
    steady: list[str] = []
    for search in (_numbers, _flags, _words, _gap):
        for field, found in search(known, asked, here, use):
            rows += found
            if not found:
                steady.append(tr("gap") if field == GAP else field_words(field))
    return Flips(here[0], here[1], tuple(rows), tuple(steady), asked.count)


Found = Iterator[tuple[str, list[Flip]]]


def _now(known: dict[str, Any], field: str) -> Any:
    section, key = field.split(".")
    return known.get(section, {}).get(key)


def _numbers(known: dict[str, Any], asked: _Asked, here: Outcome, use: Reader) -> Found:
    """Numbers: outwards from the present value over the thresholds of the rules, then halving to where it turns."""
    thresholds = domains(use)
    for field, row in NUMBERS.items():
        now = _now(known, field)
        if now is None:
            continue
        low, high = use.numbers(row)
        between = [low + (high - low) * i / GRID_STEPS for i in range(GRID_STEPS + 1)]
        tried = sorted({*between, *(v for v in thresholds.get(field, ()) if isinstance(v, float) and low <= v <= high)})
        unit = use.row(row).unit
        found = []
        for side, values in (
            ("below", [v for v in reversed(tried) if v < now]),
            ("above", [v for v in tried if v > now]),
        ):
            flip = _first_turn(field, float(now), values, asked, here)
            if flip is not None:
                at, then = flip
                found.append(_flip(field, then, now=now, value=at, unit=unit, side=side))
        yield field, found


def _first_turn(
    field: str, now: float, values: list[float], asked: _Asked, here: Outcome
) -> tuple[float, Outcome] | None:
    """The value nearest to ``now`` on one side at which the outcome is another, and that outcome."""
    inside = now
    for value in values:
        then = asked.outcome(field, value)
        if then is None:
            return None
        if then != here:
            return _halve(inside, value, then, lambda v: asked.outcome(field, v), here)
        inside = value
    return None


def _halve(
    inside: float, outside: float, then: Outcome, ask: Callable[[float], Outcome | None], here: Outcome
) -> tuple[float, Outcome]:
    """Between a value that plans as now and one that does not: where it turns, from the far side."""
    for _ in range(BISECTION_STEPS):
        middle = (inside + outside) / 2
        found = ask(middle)
        if found == here:
            inside = middle
        elif found is not None:
            outside, then = middle, found
        else:
            break
    return outside, then


def _flags(known: dict[str, Any], asked: _Asked, here: Outcome, use: Reader) -> Found:
    del use
    for field in FLAGS:
        now = _now(known, field)
        other = not now
        then = asked.outcome(field, other)
        yield field, [_flip(field, then, now=now, value=other)] if then is not None and then != here else []


def _words(known: dict[str, Any], asked: _Asked, here: Outcome, use: Reader) -> Found:
    del use
    for field, words in WORDS.items():
        now, found = _now(known, field), []
        for word in words:
            then = None if word == now else asked.outcome(field, word)
            if then is not None and then != here:
                found.append(_flip(field, then, now=now, value=word))
        yield field, found


def _gap(known: dict[str, Any], asked: _Asked, here: Outcome, use: Reader) -> Found:
    """How many clock hours of zonule may be lost, going on from the gap that is there, before the plan turns."""
    del use
    hours = tuple(_now(known, GAP) or ())
    start = hours[0] if hours else float(12 / 2)
    found: list[Flip] = []
    for count in range(len(hours) + 1, 12 + 1):
        lost = tuple(float((start + i - 1) % 12 + 1) for i in range(count))
        then = asked.outcome(GAP, lost)
        if then is not None and then != here:
            found.append(_flip(GAP, then, now=len(hours), value=count, unit=tr("clock hours"), side="above"))
            break
    yield GAP, found


def _flip(field: str, then: Outcome, *, now: Any, value: Any, unit: str = "", side: str = "is") -> Flip:
    label = tr("gap") if field == GAP else field_words(field)
    decisions = {
        "operate": tr("operate here"),
        "operate-later": tr("operate here, but not yet"),
        "refer": tr("refer"),
        "do-not-operate": tr("do not operate for sight"),
    }
    plan = decisions[then[0]]
    if then[0] in ("operate", "operate-later"):
        plan = tr("{decision}: {technique}", decision=plan, technique=tr(TECHNIQUES[then[1]]))
    shown = tr("not recorded") if now is None else _said(now, unit)
    if side == "is":
        at = tr("{label} {value}", label=label, value=_said(value, unit))
    elif side == "below":
        at = tr("{label} from {value} down", label=label, value=_said(value, unit))
    else:
        at = tr("{label} from {value} up", label=label, value=_said(value, unit))
    return Flip(
        field, label, now, value, unit, side, then[0], then[1],
        tr("{at} (now {now}): {plan}", at=at, now=shown, plan=plan),
    )  # fmt: skip


def _said(value: Any, unit: str) -> str:
    if isinstance(value, bool):
        return tr("yes") if value else tr("no")
    if isinstance(value, int | float):
        return (
            f"{value:.4g} {unit}".strip()
            if abs(value) < WRITTEN_LIMIT
            else f"{grouped(format(value, ',.0f'))} {unit}".strip()
        )
    return str(value).replace("-", " ")
