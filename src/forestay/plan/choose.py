"""Options compared: what speaks for and against each technique, their rank, and whether the choice is clear."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from forestay.evidence import Reader
from forestay.plan.dominance import argued, beaten_by
from forestay.plan.model import Chosen, Margin, Option
from forestay.plan.risks import technique_log_sd
from forestay.plan.ruleset import holding
from forestay.risk.bayes import logit
from forestay.text import tr


@dataclass(frozen=True)
class Verdict:
    """Points of a technique with the reasons, and whether a rule excludes it."""

    points: int
    why: tuple[str, ...]
    excluded: str | None


def judge(technique: str, view: Mapping[str, Any], use: Reader) -> Verdict:
    """The rules of ``techniques.toml`` that hold for a technique."""
    points, why, excluded = 0, [], None
    for rule in holding("techniques", "rule", view, use):
        if rule.data["technique"] != technique:
            continue
        reason = rule.say("why", view, use)
        rule.cite(use)
        if rule.data.get("never"):
            excluded = reason
            continue
        value = int(rule.data["points"])
        points += value
        why.append(tr("{sign}: {reason}", sign=tr("for") if value > 0 else tr("against"), reason=reason))
    return Verdict(points, tuple(why), excluded)


def short_of(margins: Sequence[Margin]) -> int:
    """How many margins are short, absolute ones by probability under one half, comparative ones by sign."""
    return sum(m.probability < 0.5 if m.probability is not None else m.margin < 0 for m in margins)


def _loss(option: Option) -> float:
    """Chance of losing capsule or cornea, taken as independent: used only to order options, never shown."""
    kept = 1.0
    for risk in option.risks:
        if risk.name in ("capsule-rupture", "cornea"):
            kept *= 1.0 - risk.probability
    return 1.0 - kept


def leaders(verdicts: Mapping[str, Verdict], decided: str | None) -> frozenset[str]:
    """The techniques that may come first in :func:`rank`, whatever their risks and margins are."""
    if decided in verdicts:
        return frozenset({str(decided)})
    allowed = {t: v.points for t, v in verdicts.items() if v.excluded is None}
    best = max(allowed.values(), default=0)
    return frozenset(t for t, points in allowed.items() if points == best)


def rank(options: Sequence[Option], verdicts: Mapping[str, Verdict], decided: str | None) -> tuple[Option, ...]:
    """Options in order: the surgeon's own decision first, then by points, risk of this eye, and margins that are short."""

    def key(option: Option) -> tuple[float, ...]:
        verdict = verdicts.get(option.technique)
        if verdict is None:
            return (2, 0, 0, 0)
        group = 0 if option.technique == decided else 3 if verdict.excluded is not None else 1
        return (group, -verdict.points, round(_loss(option), 6), short_of(option.margins))

    ordered = sorted(options, key=key)
    return tuple(replace(option, rank=i + 1) for i, option in enumerate(ordered))


def risks_part(first: Option, other: Option, use: Reader) -> int:
    """1 where the risk of this eye speaks for the first by more than its spread, -1 for the other, 0 where neither.

    Rupture on the scale of log odds, with what the two techniques do not share; the cornea by its published range.
    """
    told = {o.technique: {r.name: r for r in o.risks} for o in (first, other)}
    own, rival = told[first.technique], told[other.technique]
    signs = set()
    if "capsule-rupture" in own and "capsule-rupture" in rival:
        gap = logit(rival["capsule-rupture"].probability) - logit(own["capsule-rupture"].probability)
        spread = math.hypot(*(technique_log_sd(o.technique, use) for o in (first, other)))
        if abs(gap) > max(spread, SAME_TOLERANCE):
            signs.add(1 if gap > 0 else -1)
    if "cornea" in own and "cornea" in rival:
        mine, theirs = own["cornea"], rival["cornea"]
        if mine.high < theirs.low:
            signs.add(1)
        elif theirs.high < mine.low:
            signs.add(-1)
    return signs.pop() if len(signs) == 1 else 0


SAME_TOLERANCE = 1e-9
"""Log odds that differ by less are equal: rounding."""


def choose(ranked: Sequence[Option], verdicts: Mapping[str, Verdict], decided: str | None, use: Reader) -> Chosen:
    """The first option, whether it is clearly ahead of its nearest rival, and why.

    The rival is the next in rank that the first does not beat in every measure; the two are argued side by side.
    """
    first = ranked[0]
    rivals = [
        o for o in ranked[1:] if o.technique != "referral" and verdicts[o.technique].excluded is None and o.available
    ]
    lost = {b.option for b in beaten_by([o for o in (first, *rivals) if o.criteria]) if b.by == first.technique}
    following = next((o for o in rivals if o.technique not in lost), rivals[0] if rivals else None)
    why = list(first.why)
    if first.technique == decided:
        why.insert(0, tr("decided by the surgeon"))
    clear = True
    if following is not None and first.technique in verdicts:
        ahead = verdicts[first.technique].points - verdicts[following.technique].points
        parted = risks_part(first, following, use)
        clear = parted >= 0 and (ahead >= 2 or (ahead == 1 and _loss(following) >= _loss(first)) or parted > 0)
        if not clear:
            why.append(
                tr(
                    "{other} is about as good: what speaks for each differs by {points}, and the risks differ by less than"
                    " how surely they are known",
                    other=following.label,
                    points=ahead,
                )
            )
        why += argued(first, following)
    return Chosen(first.technique, clear, tuple(why), following.technique if following else None)
