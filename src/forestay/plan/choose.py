"""Options compared: what speaks for and against each technique, their rank, and whether the choice is clear."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from forestay.evidence import Reader
from forestay.plan.dominance import argued, beaten_by
from forestay.plan.model import Chosen, Margin, Option, Risk
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
    points, excluded = 0, None
    reasons: dict[str, list[str]] = {tr("for"): [], tr("against"): []}
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
        reasons[tr("for") if value > 0 else tr("against")].append(reason)
    why = (tr("{sign}: {reason}", sign=sign, reason=tr("; ").join(said)) for sign, said in reasons.items() if said)
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


def like(own: Mapping[str, Risk], rival: Mapping[str, Risk]) -> bool:
    """Whether both ways tell capsule and vitreous as in the same hands."""
    return own["capsule-rupture"].other_hands == rival["capsule-rupture"].other_hands


def risks_part(first: Option, other: Option, use: Reader) -> int:
    """1 where the risk of this eye speaks for the first by more than its spread, -1 for the other, 0 where neither.

    Rupture on the scale of log odds, with what the two techniques do not share; the cornea by its published range.
    """
    told = {o.technique: {r.name: r for r in o.risks} for o in (first, other)}
    own, rival = told[first.technique], told[other.technique]
    signs = set()
    if "capsule-rupture" in own and "capsule-rupture" in rival and like(own, rival):
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


CLOSEST = ("manual-small-incision", "phacoemulsification")
"""The two between which a surgeon chooses where both are here: argued against each other, whatever ranks between them."""


def choose(ranked: Sequence[Option], verdicts: Mapping[str, Verdict], decided: str | None, use: Reader) -> Chosen:
    """The first option, whether it is clearly ahead of its rivals, and why, a sentence each.

    The rival that is argued is the one about as good, else the other of the two that a surgeon chooses between, else the
    next in rank that the first does not beat in every measure.
    """
    first = ranked[0]
    rivals = [
        o for o in ranked[1:] if o.technique != "referral" and verdicts[o.technique].excluded is None and o.available
    ]
    lost = {b.option for b in beaten_by([o for o in (first, *rivals) if o.criteria]) if b.by == first.technique}
    nearest = next((o for o in rivals if o.technique not in lost), rivals[0] if rivals else None)
    usual = next((o for o in rivals if {o.technique, first.technique} == set(CLOSEST)), None)
    why = [_capital(said) for said in first.why]
    if first.technique == decided:
        why.insert(0, tr("Decided by the surgeon"))
    level = next((o for o in (nearest, usual) if o and not _ahead(first, o, verdicts, use)), None)
    rival = level or usual or nearest
    if level is not None:
        why.append(_level_words(first, level, verdicts))
    if rival is not None:
        why.append(argued(first, rival))
    return Chosen(
        first.technique, level is None, tuple(said for said in why if said), rival.technique if rival else None
    )


def _ahead(first: Option, other: Option, verdicts: Mapping[str, Verdict], use: Reader) -> bool:
    """Whether the first is clearly ahead of another: by what speaks for each, or by risks that differ by more than doubt."""
    if first.technique not in verdicts:
        return True
    ahead = verdicts[first.technique].points - verdicts[other.technique].points
    parted = risks_part(first, other, use)
    return parted >= 0 and (ahead >= 2 or (ahead == 1 and _loss(other) >= _loss(first)) or parted > 0)


def _level_words(first: Option, other: Option, verdicts: Mapping[str, Verdict]) -> str:
    ahead = verdicts[first.technique].points - verdicts[other.technique].points
    speaks = (
        tr("as much speaks for either")
        if ahead == 0
        else tr("little more speaks for {option}", option=(first if ahead > 0 else other).label)
        if abs(ahead) == 1
        else tr("more speaks for {option}", option=(first if ahead > 0 else other).label)
    )
    return tr(
        "{other} is about as good: {speaks}, and the risks differ by less than how surely they are known",
        other=_capital(other.label),
        speaks=speaks,
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
