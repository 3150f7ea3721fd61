"""Looks the rules of a plan over: one that can never hold, two that say the opposite, an order that runs in a circle.

For who writes rules: the tests and the command ``forestay rules`` call :func:`faults`; a plan never does.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from forestay.evidence import EvidenceSet, Reader, default_evidence
from forestay.eye.condition import Condition
from forestay.plan.rulecheck_links import links
from forestay.plan.ruleset import BESIDE, FILES, Rule, ruleset
from forestay.plan.ruleview import Domain, Table, domains, escapes, satisfying, words_of

Kind = Literal["unreachable", "contradiction", "circle", "unknown word", "unknown rule", "twice", "no source"]
DOING = ("do", "then", "drug", "preparation", "dose", "first", "item", "text", "check", "act_on")
"""The sentences of a rule that tell someone to do something."""
WITHOUT_SOURCE = ("item", "cue", "rung", "also", "finding", "window")
"""Kinds that stand on the source of what they belong to, or on none: a thing on the trolley, a name for what was seen."""


@dataclass(frozen=True)
class Fault:
    """Something wrong with the rules: what kind, in which rule, and what it is."""

    kind: Kind
    where: str
    what: str


@dataclass(frozen=True)
class Entry:
    """A rule with its place, and the conditions that must hold for it to speak (a cue also needs its step's)."""

    where: str
    rule: Rule
    needs: tuple[Condition, ...]


def shipped() -> Table:
    """Every rule file, those that a plan reads and those beside it."""
    return {name: ruleset(name) for name in (*FILES, *BESIDE)}


def entries(rules: Table | None = None) -> Iterator[Entry]:
    """Every rule, cue and rung with its place."""
    table = rules if rules is not None else shipped()
    for name, kinds in table.items():
        for kind, found in kinds.items():
            for number, rule in enumerate(found):
                where = f"{name}.toml, {kind} {rule.data.get('key', number + 1)}"
                yield Entry(where, rule, (rule.when,))
                for place, inner in enumerate(rule.inner):
                    yield Entry(f"{where}, {inner.kind} {place + 1}", inner, (rule.when, inner.when))


def faults(rules: Table | None = None, evidence: EvidenceSet | None = None) -> tuple[Fault, ...]:
    """Everything wrong with the rules that ship, or with ``rules`` (file -> kind -> rules)."""
    table = rules if rules is not None else shipped()
    use = (evidence or default_evidence()).reader()
    domain = domains(use, table)
    listed = list(entries(table))
    found = [
        *_unsourced(listed),
        *_twice(table),
        *_unknown_words(listed),
        *_unreachable(listed, domain, use),
        *_against_stops(table, listed, domain, use),
        *_verdicts(table, domain, use),
        *_orders(table),
        *(Fault(kind, where, what) for kind, where, what in links(table)),
    ]
    return tuple(found)


def _unsourced(listed: Iterable[Entry]) -> Iterator[Fault]:
    for e in listed:
        if not e.rule.sources and e.rule.kind not in WITHOUT_SOURCE:
            yield Fault("no source", e.where, "names no source")


def _twice(table: Table) -> Iterator[Fault]:
    for name, kinds in table.items():
        for kind, rules in kinds.items():
            keys = Counter(str(r.data["key"]) for r in rules if "key" in r.data)
            yield from (
                Fault("twice", f"{name}.toml, {kind} {k}", f"{n} rules have this key") for k, n in keys.items() if n > 1
            )


def _unknown_words(listed: Iterable[Entry]) -> Iterator[Fault]:
    """A word that the field it is compared with can never hold: a slip of the pen."""
    for e in listed:
        for comparison in (c for line in e.rule.when.lines for c in line):
            known = words_of(comparison.name)
            if known is None or comparison.op not in ("=", "!=", "in", "has", "lacks"):
                continue
            for word in (w.strip() for w in (comparison.value or "").split(",")):
                if word not in known:
                    yield Fault("unknown word", e.where, f"{comparison.name} is never {word!r}")


def _unreachable(listed: Iterable[Entry], domain: Domain, use: Reader) -> Iterator[Fault]:
    for e in listed:
        if satisfying(e.needs, domain, use) is None:
            yield Fault("unreachable", e.where, "no eye meets all of its lines")


def _says(rule: Rule) -> str:
    """What a rule tells someone to do, places of sentences left out: what stands there is decided with the stops known."""
    parts: list[str] = []
    for name in DOING:
        value = rule.data.get(name, ())
        parts += [value] if isinstance(value, str) else [str(v) for v in value]
    return re.sub(r"\{[^}]*\}", " ", " | ".join(parts)).lower()


def _against_stops(table: Table, listed: Sequence[Entry], domain: Domain, use: Reader) -> Iterator[Fault]:
    """A rule that asks for what a stop forbids, in an eye in which both hold and nothing takes the request back."""
    avoids = table.get("anaesthesia", {}).get("avoid", ())
    for stop in table.get("stops", {}).get("stop", ()):
        for barred in stop.data.get("bars", ()):
            guarded = [a.when for a in avoids if barred in a.data["anaesthetic"]]
            if guarded and escapes(stop.when, guarded, domain, use) is None:
                continue  # no anaesthetic that a rule avoids reaches a dose
            for e in listed:
                said = _says(e.rule)
                for spared in stop.data.get("spares", ()):
                    said = said.replace(str(spared).lower(), " ")
                if e.rule is stop or not re.search(rf"\b{re.escape(barred)}\b(?!-free)", said):
                    continue
                if stop.data["key"] in _keys(e.rule.data.get("unless_stop", "")):
                    continue
                both = satisfying((*e.needs, stop.when), domain, use)
                if both is not None:
                    what = f"asks for {barred}, which the stop {stop.data['key']} forbids, where {_values(both)}"
                    yield Fault("contradiction", e.where, what)


def _keys(text: Any) -> set[str]:
    return {part.strip() for part in str(text).split(",") if part.strip()}


def _values(view: Mapping[str, Any]) -> str:
    return ", ".join(f"{name} is {value}" for name, value in sorted(view.items()))


def _verdicts(table: Table, domain: Domain, use: Reader) -> Iterator[Fault]:
    """A stop that forbids surgery itself must bring the decision with it."""
    decisions = table.get("decision", {}).get("rule", ())
    for stop in table.get("stops", {}).get("stop", ()):
        verdict = stop.data.get("verdict")
        if verdict is None:
            continue
        same = [r.when for r in decisions if r.data["verdict"] == verdict]
        open_to = escapes(stop.when, same, domain, use)
        if open_to is not None:
            what = f"no rule decides {verdict} where {_values(open_to)}"
            yield Fault("contradiction", f"stops.toml, stop {stop.data['key']}", what)


def _orders(table: Table) -> Iterator[Fault]:
    """``after`` of the steps and ``leads_to`` of the ladders: known keys, the order of the file, and no circle."""
    for name, kind, edge in (("steps", "step", "after"), ("fallbacks", "fallback", "leads_to")):
        rules = table.get(name, {}).get(kind, ())
        graph = {str(r.data["key"]): tuple(str(k) for k in r.data.get(edge, ())) for r in rules if "key" in r.data}
        for key, others in graph.items():
            for other in others:
                if other not in graph:
                    yield Fault("unknown rule", f"{name}.toml, {kind} {key}", f"{edge} names {other!r}")
        for ring in circles(graph):
            yield Fault("circle", f"{name}.toml, {kind} {ring[0]}", " -> ".join(ring))
    places = {str(r.data.get("key")): i for i, r in enumerate(table.get("steps", {}).get("step", ()))}
    for rule in table.get("steps", {}).get("step", ()):
        for other in rule.data.get("after", ()):
            if places.get(str(other), -1) > places[str(rule.data["key"])]:
                yield Fault(
                    "contradiction", f"steps.toml, step {rule.data['key']}", f"stands before {other}, which it follows"
                )


def circles(graph: Mapping[str, Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    """Every way round that comes back to where it began, each told once, from its first key.

    >>> circles({"a": ["b"], "b": ["c"], "c": ["a"], "d": ["a"]})
    (('a', 'b', 'c', 'a'),)
    """
    found: dict[frozenset[str], tuple[str, ...]] = {}
    done: set[str] = set()

    def visit(key: str, path: tuple[str, ...]) -> None:
        if key in path:
            ring = path[path.index(key) :]
            start = ring.index(min(ring))
            found.setdefault(frozenset(ring), (*ring[start:], *ring[:start], ring[start]))
        elif key not in done:
            for other in graph.get(key, ()):
                visit(other, (*path, key))
            done.add(key)

    for key in sorted(graph):
        visit(key, ())
    return tuple(sorted(found.values()))
