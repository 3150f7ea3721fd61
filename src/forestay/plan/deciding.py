"""The first line of a plan: operate, later, refer or do not, with the reason and what to do before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from forestay.evidence import Reader
from forestay.plan.model import Check, Decision, First, Margin, Verdict, WouldChange
from forestay.plan.model_trolley import KitItem
from forestay.plan.ruleset import Rule, holding
from forestay.text import field_words, tr

EVEN_LIMIT = 0.5
"""A margin with a smaller chance is more likely short than not."""
GRAVITY: tuple[Verdict, ...] = ("operate", "operate-later", "refer", "do-not-operate")


def decide(
    view: Mapping[str, Any],
    checks: Sequence[Check],
    ready: Sequence[KitItem],
    *,
    chosen: str,
    margins: Sequence[Margin],
    use: Reader,
) -> Decision:
    """Hear every rule that holds; the gravest verdict wins. Findings to recheck and missing kit come first of all.

    In an eye that is not operated for sight only what a rule marks ``sightless`` is still to be done first.
    """
    rules = list(holding("decision", "rule", view, use))
    verdict = _gravest(rules)
    reasons = [r.say("why", view, use) for r in rules if r.data["verdict"] == verdict and verdict != "operate"]
    sightless = verdict == "do-not-operate"
    first = [] if sightless else _first_checks([c for c in checks if c.level == "recheck"])
    first += [_first(r, view, use) for r in rules if "first" in r.data and (r.data.get("sightless") or not sightless)]
    missing = [item for item in ready if item.missing]
    if verdict in ("operate", "operate-later"):
        first += [
            First(tr("get {item}", item=i.item), tr("this theatre has none: {why}", why=i.why), "kit-missing")
            for i in missing
        ]
    why = tr("; ").join(reasons) or tr("nothing found that speaks against operating here")
    sentence = _sentence(verdict, why, first, ready, chosen=chosen, margins=margins, use=use)
    return Decision(verdict, why, tuple(first), sentence, _would_change(rules, verdict, view, use))


def change_words(change: WouldChange) -> str:
    """What would change the verdict, and to what, as one line."""
    then = {
        "operate": tr("then operate here"),
        "operate-later": tr("then still not yet, for another reason"),
        "refer": tr("then still refer, for another reason"),
        "do-not-operate": tr("then still do not operate, for another reason"),
    }[change.then]
    return tr("{what}: {then}", what=change.what, then=then)


def _would_change(
    rules: Sequence[Rule], verdict: Verdict, view: Mapping[str, Any], use: Reader
) -> tuple[WouldChange, ...]:
    """For each reason behind the verdict: what would take it away, and the verdict of the rules that then remain."""
    if verdict == "operate":
        return ()
    behind = [(rule.say("change", view, use), rule) for rule in rules if rule.data["verdict"] == verdict]
    found: dict[str, WouldChange] = {}
    for what, rule in behind:
        if what in found:
            continue
        kept = [r for r in rules if not any(r is other and what == said for said, other in behind)]
        then: Verdict = max((r.data["verdict"] for r in kept), key=GRAVITY.index, default="operate")
        found[what] = WouldChange(what, rule.say("why", view, use), then, str(rule.data["key"]))
    return tuple(found.values())


def is_short(margin: Margin) -> bool:
    """Whether a margin is more likely short than not.

    A margin that ranks has no chance: the hold of the lens is short where the middle of its estimate is. What each
    manoeuvre asks of the zonule is an estimate of this eye against a healthy one, and is listed apart.
    """
    if margin.probability is not None:
        return margin.probability < EVEN_LIMIT
    return margin.group == "main" and margin.margin < 0


def verdict_of(view: Mapping[str, Any], use: Reader) -> Verdict:
    """The gravest verdict of the rules that hold, without its reasons."""
    return _gravest(list(holding("decision", "rule", view, use)))


def _gravest(rules: Sequence[Rule]) -> Verdict:
    return max((r.data["verdict"] for r in rules), key=GRAVITY.index, default="operate")


def _first_checks(checks: Sequence[Check]) -> list[First]:
    """One thing to do for each field that must be measured or looked at again, with all the reasons for it."""
    reasons: dict[str, list[Check]] = {}
    for check in checks:
        reasons.setdefault(check.field, []).append(check)
    return [
        First(
            tr("recheck {field}", field=field_words(field)),
            " ".join(c.why for c in found),
            "plausibility",
            tuple(dict.fromkeys(c.source for c in found)),
        )
        for field, found in reasons.items()
    ]


def _first(rule: Rule, view: Mapping[str, Any], use: Reader) -> First:
    return First(rule.say("first", view, use), rule.say("why", view, use), str(rule.data["key"]), rule.cite(use))


def _sentence(
    verdict: Verdict,
    why: str,
    first: Sequence[First],
    ready: Sequence[KitItem],
    *,
    chosen: str,
    margins: Sequence[Margin],
    use: Reader,
) -> str:
    """The decision in one or two sentences for the head of page and sheet."""
    opening = {
        "operate": tr("Operate here: {technique}.", technique=chosen),
        "operate-later": tr("Operate here, but not yet: {why}.", why=why),
        "refer": tr("Refer: {why}.", why=why),
        "do-not-operate": tr("Do not operate for sight: {why}.", why=why),
    }[verdict]
    parts = [opening]
    if first and verdict != "refer":
        parts.append(tr("First {what}.", what=tr("; ").join(f.do for f in first)))
    short = [m.step.lower() for m in margins if is_short(m)]
    if short and verdict in ("operate", "operate-later"):
        parts.append(tr("More likely short than not: {steps}.", steps=", ".join(short)))
    beyond = [m.step.lower() for m in margins if m.group == "zonule" and m.margin <= -use.number("cue.load_short")]
    if beyond and verdict in ("operate", "operate-later"):
        parts.append(tr("More than a healthy zonule bears: {steps}.", steps=", ".join(beyond)))
    special = [i.ready for i in ready if i.ready and not i.missing]
    if special and verdict in ("operate", "operate-later"):
        parts.append(tr("Have ready: {items}.", items=", ".join(special)))
    return " ".join(parts)
