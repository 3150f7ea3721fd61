"""What makes a figure of the patient's sheet larger in this eye: put on the number where that is sound, else said beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from forestay.evidence import Reader
from forestay.plan.model_risk import Risk
from forestay.plan.ruleset import Rule, holding
from forestay.risk import series
from forestay.risk.raised import Raised, raised
from forestay.text import tr

RATIOS = {f"series_ratio.{entry.key}": entry for entry in series.RATIOS}
"""The published ratios by row, with the base of each."""


@dataclass(frozen=True)
class Told:
    """What the sheet says of a risk in this eye. ``worked``: the rate with the one ratio on it, of the series ``base``.

    ``inside``: the sign that is in that number; ``more`` and ``less``: what the number does not hold.
    """

    worked: Raised | None
    base: Risk
    ratio: str
    inside: str
    more: tuple[str, ...]
    less: tuple[str, ...]


def told_of(figure: str, risk: Risk, risks: Sequence[Risk], view: Mapping[str, Any], use: Reader) -> Told:
    """The signs of this eye that speak about a figure; the ratio of one sign, where it is the only one, put on its base."""
    rules = [r for r in holding("consent", "raise", view, use) if figure in r.data["figures"] and _speaks(r, risk)]
    rated = [r for r in rules if "ratio" in r.data]
    worked, base, key, inside = None, risk, "", ""
    if len(rated) == 1:
        key = str(rated[0].data["ratio"])
        found = _base(RATIOS[key], risk, risks)
        if found is not None:
            worked, base, inside = _worked(key, found, use), found, tr(str(rated[0].data["text"]))
            rules.remove(rated[0])
    for rule in rules:
        rule.cite(use)
    said = {
        less: tuple(tr(str(r.data["text"])) for r in rules if bool(r.data.get("less")) == less)
        for less in (True, False)
    }
    return Told(worked, base, key if worked else "", inside, said[False], said[True])


def _speaks(rule: Rule, risk: Risk) -> bool:
    """A ratio speaks where the plan tells it beside that risk; a sign, where the risk is not that of eyes with it."""
    if "ratio" in rule.data:
        return rule.data["ratio"] in risk.raised_keys
    return not risk.finding or rule.data.get("finding") != risk.finding


def _base(entry: series.Entry, risk: Risk, risks: Sequence[Risk]) -> Risk | None:
    """The rate of all eyes that the ratio may be put on, where the figure is of such eyes."""
    if not entry.base or risk.finding:
        return None
    return next((r for r in risks if r.name == entry.base), None)


def _worked(key: str, base: Risk, use: Reader) -> Raised:
    entry, row = RATIOS[key], use.row(key)
    rate = next(e for e in series.RATES if e.key.rpartition(".")[2] == base.name)
    return raised(
        series.rate(use.row(f"series.{rate.key}")),
        series.rate(row),
        share=use.number(f"series_share.{entry.key}"),
        of_odds=entry.of_odds,
    )
