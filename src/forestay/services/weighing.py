"""Own weights on the measures of a plan: which option comes first under them, and at which weight that turns.

No weight is assumed. A weight says how much it matters to go from the worst to the best of these options in a measure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from forestay.errors import InvalidInput
from forestay.plan.dominance import measures_compared, spreads_of, values_of
from forestay.plan.model import Plan
from forestay.statistics import dominance
from forestay.text import tr

MOST = 10.0
"""The greatest weight; only the ratio of weights counts, so that a finer scale would say nothing more."""


@dataclass(frozen=True)
class Weighed:
    """The order under some weights. ``order``: option and score [0-1], best first; empty where nothing is scored."""

    measures: tuple[tuple[str, str], ...]
    order: tuple[tuple[str, float], ...]
    first: str | None
    """The option that comes first by more than the spread of the lead; None: no clear winner."""
    lead: dominance.Lead | None
    turns: tuple[dominance.WeightFlip, ...]
    left_out: tuple[str, ...]
    labels: Mapping[str, str]


def weigh(plan: Plan, weights: Mapping[str, float]) -> Weighed:
    """The options of a plan under these weights by measure [0-10]; an unknown measure or a weight outside is refused."""
    options = [o for o in plan.options if o.criteria]
    measures, values = measures_compared(options), values_of(options)
    names = {c.key: c.label for o in options for c in o.criteria}
    for name, weight in weights.items():
        _check(name, weight, [m.name for m in measures])
    found = dominance.scores(values, measures, weights)
    lead = dominance.lead(values, measures, weights, spreads_of(options))
    scored = {name for of_one in dominance.goodness(values, measures).values() for name in of_one}
    unknown = {m.name for m in measures if any(v.get(m.name) is None for v in values.values())}
    return Weighed(
        measures=tuple((m.name, names[m.name]) for m in measures),
        order=tuple(sorted(found.items(), key=lambda item: (-item[1], item[0]))),
        first=lead.first if lead is not None and lead.clear else None,
        lead=lead,
        turns=dominance.weight_flips(values, measures, weights) if found else (),
        left_out=tuple(names[m.name] for m in measures if m.name not in scored or m.name in unknown),
        labels={o.technique: o.label for o in options} | names,
    )


def _check(name: str, weight: float, known: list[str]) -> None:
    if name not in known:
        allowed = ", ".join(known)
        raise InvalidInput(
            tr("{name} is not a measure of this plan; allowed: {allowed}.", name=name[:40], allowed=allowed),
            field=name[:40],
            value=weight,
            allowed=allowed,
        )
    if not 0 <= weight <= MOST:
        allowed = tr("0 to {most:g}", most=MOST)
        raise InvalidInput(
            tr("{name} is {weight:g}; allowed: {allowed}.", name=name, weight=weight, allowed=allowed),
            field=name,
            value=weight,
            allowed=allowed,
        )
