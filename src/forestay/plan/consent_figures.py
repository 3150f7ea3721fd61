"""What the patient reads before saying yes: plain words, and figures as so many of 1,000 people, each with its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.eye.view import flat
from forestay.plan.consent_raised import Told, told_of
from forestay.plan.model import Option, Plan
from forestay.plan.model_risk import Risk
from forestay.plan.risks import told_first
from forestay.plan.ruleset import holding, ruleset
from forestay.risk.raised import Raised
from forestay.text import tr

PEOPLE = 1000
"""Every figure speaks of as many people, so that two can be compared at a glance."""
MANY = PEOPLE * PEOPLE // 100
"""What is rarer than one of :data:`PEOPLE` is told of so many."""
OWN_CALCULATIONS = {"capsule-rupture": "complication.", "cornea": "endothelium."}
"""Risks that are worked out for the eye in hand, with the rows of evidence that they rest on first."""
CAPSULE = "capsule-rupture"
"""The risk before which the plan may tell a series of a sign."""
ANTIBIOTICS = ("cefuroxime", "moxifloxacin")


@dataclass(frozen=True)
class Figure:
    """One thing that may happen. ``count``, ``low``, ``high``: people of :data:`PEOPLE`; 0 is "fewer than one"."""

    key: str
    what: str
    then: str
    count: int
    low: int | None
    high: int | None
    probability: float
    says: str
    range_says: str
    source: str
    of_this_eye: bool
    whose: str
    """Whose eyes the number is of, in the patient's words."""
    more: tuple[str, ...] = ()
    """What is in this eye and makes the number larger or smaller, in sentences."""


@dataclass(frozen=True)
class ConsentSheet:
    """Everything on the patient's sheet."""

    side: str
    technique: str
    special: tuple[str, ...]
    figures: tuple[Figure, ...]
    warnings: tuple[str, ...]


def people(probability: float) -> int:
    """So many of :data:`PEOPLE`, rounded to a whole person.

    >>> people(0.175), people(0.0004)
    (175, 0)
    """
    return round(probability * PEOPLE)


def _whole(probability: float) -> bool:
    """Whether it is one of :data:`PEOPLE` or more, as written: where it would read ten of :data:`MANY`, it is one."""
    return round(probability * MANY) * PEOPLE >= MANY


def frequency_words(probability: float) -> str:
    """A probability in people, as patients understand it best.

    >>> frequency_words(0.175), frequency_words(0.0012), frequency_words(0.0004)
    ('about 175 of 1,000 people', 'about 1 of 1,000 people', 'fewer than 1 of 1,000 people (about 4 of 10,000)')
    """
    if _whole(probability):
        return tr("about {n:,d} of {all:,d} people", n=people(probability), all=PEOPLE)
    return tr(
        "fewer than 1 of {all:,d} people (about {n:,d} of {many:,d})",
        all=PEOPLE,
        n=max(1, round(probability * MANY)),
        many=MANY,
    )


def consent_sheet(case: CaseFile, plan: Plan, use: Reader) -> ConsentSheet:
    """The patient's sheet of a plan; there is none where nobody is going to operate here."""
    option = next((o for o in plan.options if o.technique == plan.chosen.technique), None)
    if option is None or plan.decision.decision in ("refer", "do-not-operate"):
        raise InvalidInput(
            tr("There is no sheet for the patient: {decision}", decision=plan.decision.sentence),
            field="decision",
            value=plan.decision.decision,
            allowed="operate, operate-later",
        )
    view = flat(case) | {"consent.antibiotic": next((d.thing for d in plan.doses if d.thing in ANTIBIOTICS), "none")}
    return ConsentSheet(
        side=tr("right eye") if case.eye.side == "right" else tr("left eye"),
        technique=next(
            tr(str(r.data["text"])) for r in ruleset("consent")["technique"] if r.data["key"] == option.technique
        ),
        special=tuple(tr(str(r.data["text"])) for r in holding("consent", "special", view, use)),
        figures=_figures(option, view, use),
        warnings=tuple(tr(str(r.data["text"])) for r in holding("consent", "warning", view, use)),
    )


def _figures(option: Option, view: Mapping[str, Any], use: Reader) -> tuple[Figure, ...]:
    """Figures in the order of their chance: what is likely first."""
    found = []
    by_name = {r.name: r for r in option.risks}
    for rule in holding("consent", "figure", view, use):
        risk = next((by_name[n] for n in rule.data["risks"] if n in by_name), None)
        if risk is not None and risk.name == CAPSULE:
            risk = told_first(option.risks)
        if risk is not None and _can_be_told(risk):
            told = told_of(str(rule.data["key"]), risk, option.risks, view, use)
            found.append(
                _figure(str(rule.data["key"]), tr(str(rule.data["what"])), tr(str(rule.data["then"])), told, use)
            )
    return tuple(sorted(found, key=lambda f: -f.probability))


def _can_be_told(risk: Risk) -> bool:
    """A model of draws cannot tell chances under one in :data:`PEOPLE` apart; a count of other people's eyes can."""
    return people(risk.probability) > 0 or (risk.probability > 0 and not _of_this_eye(risk))


def _of_this_eye(risk: Risk) -> bool:
    return risk.of_this_eye or risk.name in OWN_CALCULATIONS


def _figure(key: str, what: str, then: str, told: Told, use: Reader) -> Figure:
    risk = told.base
    own = _of_this_eye(risk)
    value: Raised | Risk = told.worked or risk
    p = value.value if isinstance(value, Raised) else value.probability
    ranged = value.low < value.high
    return Figure(
        key=key,
        what=what,
        then=then,
        count=people(p),
        low=people(value.low) if ranged else None,
        high=people(value.high) if ranged else None,
        probability=p,
        says=tr("This happens to {frequency}.", frequency=frequency_words(p)),
        range_says=_range_words(p, value.low, value.high)
        if ranged
        else tr("How sure this number is was not published."),
        source=_source(risk, own=own) + (_ratio_words(told.ratio, use) if told.worked else ""),
        of_this_eye=own,
        whose=tr("Worked out for your eye")
        if own
        else tr("Counted in other people's eyes, made larger for yours")
        if told.worked
        else tr("Counted in other people's eyes"),
        more=_more_words(told),
    )


def _more_words(told: Told) -> tuple[str, ...]:
    """What the number holds of this eye, and what it does not hold."""
    said = []
    if told.base.leads:
        said.append(tr("These were eyes with a sign that yours has too. Your eye may do better, or worse."))
    if told.worked:
        said.append(tr("In your eye it is more likely than in most. {why} The number holds this.", why=told.inside))
        if not told.worked.whole:
            said.append(tr("We are less sure of this number: part of it was not published."))
    if told.more:
        said.append(tr("In your eye it is more likely than that. {why}", why=" ".join(told.more)))
    if told.less:
        said.append(tr("In your eye it is less likely for another reason. {why}", why=" ".join(told.less)))
    return tuple(said)


def _ratio_words(key: str, use: Reader) -> str:
    row = use.row(key)
    return tr(
        " With the ratio of the sign put on the rate of eyes without it: {meaning}. Source: {where}.",
        meaning=tr(row.meaning),
        where=row.source.citation,
    )


def _range_words(probability: float, low: float, high: float) -> str:
    if not _whole(probability) or people(low) == people(high):
        return tr(
            "It may be as few as {low:,d} or as many as {high:,d} of {many:,d}.",
            low=round(low * MANY),
            high=max(1, round(high * MANY)),
            many=MANY,
        )
    return tr(
        "It may be as few as {low:,d} or as many as {high:,d} of {all:,d}.",
        low=people(low),
        high=people(high),
        all=PEOPLE,
    )


def _source(risk: Risk, *, own: bool) -> str:
    """Whose eyes the number comes from, and where it stands: the small print."""
    prefix = OWN_CALCULATIONS.get(risk.name, "")
    published = [s for s in risk.origin.sources if s.get("standing") != "assumed"] or list(risk.origin.sources)
    first = sorted(published, key=lambda s: not any(str(r).startswith(prefix) for r in s.get("rows", ())))
    where = "; ".join(dict.fromkeys(str(s["citation"]) for s in first[:2]))
    whose = risk.population or risk.origin.valid or tr("eyes not further described")
    kind = tr("worked out for this eye") if own else tr("counted in other people's eyes, not worked out for this one")
    more = len(published) - 2
    rest = tr(" and {n:d} more", n=more) if more > 0 else ""
    return tr(
        "{what}: {kind}. Eyes: {whose}. Source: {where}{rest}.",
        what=risk.label,
        kind=kind,
        whose=whose,
        where=where,
        rest=rest,
    )
