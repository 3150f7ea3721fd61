"""What the plan foretold of an operated eye, with the truth beside it once it is known.

Probabilities: this eye's own, and the published rate of the technique for what has none of its own. Intervals: refraction
with the lens put in, flattening by the incision, endothelial cells left. Margins that have no counted truth (whether a
nucleus would have passed a smaller opening) are not scored. What happens in surgery is known when it is over; what comes
later is known once the eye has been seen from the late day on, or once it has happened.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from forestay.evidence import Reader
from forestay.learning.predictions import CURVE_GROUPS, Chance, ChanceScore, Span, SpanScore, score_chances, score_spans
from forestay.review.incision import turned
from forestay.review.outcome import Outcome
from forestay.text import tr

IN_SURGERY: dict[str, Callable[[Outcome], bool]] = {
    "capsule-rupture": lambda o: o.rupture,
    "vitreous-loss": lambda o: o.happened("vitreous-in-chamber"),
    "zonular-dialysis": lambda o: o.happened("zonular-dialysis"),
    "dropped-nucleus": lambda o: o.happened("lens-matter-lost-posteriorly"),
    "choroidal-haemorrhage": lambda o: o.happened("choroidal-haemorrhage"),
}
"""Complication of the plan -> whether it came, known when the operation is over."""
LATER: dict[str, Callable[[Outcome], bool]] = {
    "endophthalmitis": lambda o: o.happened("endophthalmitis"),
    "macular-oedema": lambda o: o.happened("macular-oedema"),
    "detachment": lambda o: o.happened("retinal-detachment"),
    "pressure-rise": lambda o: o.happened("pressure-rise"),
}
"""The same, known only once the eye has been seen late enough, or once it has happened."""
SIGNS = ("_pseudoexfoliation", "_brown")
"""How the names of rates end that the plan tells only for eyes with that sign."""
SAME_PLACE_HOURS = 1.0
"""An incision this far from the planned place is another one; nothing was told for it."""


def names() -> dict[str, str]:
    """What each kind of prediction is called."""
    return {
        "capsule-rupture": tr("capsule rupture or vitreous loss"),
        "vitreous-loss": tr("vitreous in the chamber"),
        "zonular-dialysis": tr("torn zonule"),
        "dropped-nucleus": tr("lens matter lost behind"),
        "choroidal-haemorrhage": tr("choroidal haemorrhage"),
        "endophthalmitis": tr("infection inside the eye"),
        "macular-oedema": tr("macular oedema"),
        "detachment": tr("retinal detachment"),
        "pressure-rise": tr("pressure rise"),
        "refraction": tr("refraction"),
        "flattening": tr("flattening by the incision"),
        "cells": tr("endothelial cells left"),
    }


@dataclass(frozen=True)
class ToldScores:
    """Every kind of prediction, scored; kinds with too few known cases are named and not shown."""

    chances: tuple[ChanceScore, ...]
    spans: tuple[SpanScore, ...]
    too_few: tuple[str, ...]


def chances(outcome: Outcome, use: Reader) -> tuple[Chance, ...]:
    """The plan's probabilities of the technique that was used: for each complication this eye's own, else the published
    rate of eyes with the same sign, else the first published one."""
    found: dict[str, Chance] = {}
    for told in sorted(outcome.foretold, key=lambda one: (not one.of_this_eye, not one.name.endswith(SIGNS))):
        if told.about not in found and (told.about in IN_SURGERY or told.about in LATER):
            came = _came(told.about, outcome, use)
            found[told.about] = Chance(told.about, told.probability, came, told.of_this_eye)
    return tuple(found.values())


def _came(about: str, outcome: Outcome, use: Reader) -> bool | None:
    if about in IN_SURGERY:
        return IN_SURGERY[about](outcome)
    happened = LATER[about](outcome)
    return happened if happened or _late(outcome.last_day, use) else None


def _late(day: int | None, use: Reader) -> bool:
    return day is not None and day >= use.number("audit.final_from_day")


def spans(outcome: Outcome, use: Reader) -> tuple[Span, ...]:
    """The plan's intervals of what can be measured afterwards."""
    level = use.number("interval.shown")
    found = (_refraction(outcome, level, use), _flattening(outcome, level), _cells(outcome, level, use))
    return tuple(span for span in found if span is not None)


def _refraction(outcome: Outcome, level: float, use: Reader) -> Span | None:
    expected, half = outcome.predicted_refraction_d, outcome.refraction_half_d
    if expected is None or half is None:
        return None
    came = outcome.refraction_d if _late(outcome.refraction_day, use) else None
    return Span("refraction", "D", expected, expected - half, expected + half, level, came)


def _flattening(outcome: Outcome, level: float) -> Span | None:
    expected, sd = outcome.predicted_induced_d, outcome.predicted_induced_sd_d
    planned, made = outcome.sizes.get("tunnel_clock", (0.0, 0.0))
    elsewhere = min((planned - made) % 12, (made - planned) % 12) > SAME_PLACE_HOURS
    if expected is None or sd is None or elsewhere or outcome.technique != outcome.technique_planned:
        return None
    half, change = NormalDist().inv_cdf((1 + level) / 2) * sd, turned(outcome)
    return Span("flattening", "D", expected, expected - half, expected + half, level, change[0] if change else None)


def _cells(outcome: Outcome, level: float, use: Reader) -> Span | None:
    if outcome.cells_told is None:
        return None
    came = outcome.cells_after if _late(outcome.last_day, use) else None
    return Span("cells", "cells/mm2", *outcome.cells_told, level, came)


def scores(outcomes: Sequence[Outcome], use: Reader) -> ToldScores:
    """Every told probability and interval of these eyes, scored by kind, where enough of them are known."""
    fewest, level = use.number("audit.smallest_group"), use.number("audit.usual_level")
    by_event: dict[str, list[Chance]] = {}
    by_quantity: dict[str, list[Span]] = {}
    for outcome in outcomes:
        for chance in chances(outcome, use):
            by_event.setdefault(chance.about, []).append(chance)
        for span in spans(outcome, use):
            by_quantity.setdefault(span.about, []).append(span)
    events = use.number("audit.curve_events")
    told = [
        (about, score_chances(kept, curve_events=events, groups=CURVE_GROUPS, level=level))
        for about, kept in by_event.items()
    ]
    measured = [(about, score_spans(kept, level=level)) for about, kept in by_quantity.items()]
    everything = [*told, *measured]
    return ToldScores(
        chances=tuple(score for _, score in told if score is not None and score.n >= fewest),
        spans=tuple(score for _, score in measured if score is not None and score.n >= fewest),
        too_few=tuple(about for about, score in everything if score is None or score.n < fewest),
    )
