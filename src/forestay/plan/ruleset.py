"""Reads the rule files of the plan: decision, techniques, steps, fallbacks, stops, conflicts and the others.

Rules are data with sources. A rule that asks for an unknown source, or holds a line that cannot be read, is a fault of
the installation and is found by the tests, not by a surgeon.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from forestay.evidence import Reader
from forestay.eye.condition import Condition, parse_condition
from forestay.eye.filling import fill

FILES = (
    *("decision", "techniques", "anaesthesia", "steps", "kit", "doses"),
    *("fallbacks", "stops", "conflicts", "after", "events"),
)
BESIDE = ("findings", "followup", "timeout")
"""Rules that a plan does not read itself: what a tap in theatre keeps, what a visit finds, what is ticked."""
INNER = ("cue", "rung", "also")
"""Rules inside a rule: what to watch for at a step, the rungs of a ladder, what an event adds to steps."""


@dataclass(frozen=True)
class Rule:
    """One rule: what it says (``data``), when it holds, and whose it is."""

    kind: str
    data: Mapping[str, Any]
    when: Condition
    sources: tuple[str, ...]
    inner: tuple[Rule, ...] = ()

    def holds(self, view: Mapping[str, Any], use: Reader) -> bool:
        """Whether the rule holds in ``view``; the rows that it compares with are remembered with the answer."""
        held = self.when.holds(view, use)
        if self.when.rows:
            use.weigh(self.when.rows, held=held)
        return held

    def say(self, name: str, view: Mapping[str, Any], use: Reader) -> str:
        """The sentence ``name`` of the rule with its places filled."""
        return fill(str(self.data[name]), view, use)

    def cite(self, use: Reader) -> tuple[str, ...]:
        """The citations of its sources."""
        return tuple(use.evidence_source(key) for key in self.sources)


def _rule(kind: str, raw: Mapping[str, Any], where: str) -> Rule:
    data = {k: v for k, v in raw.items() if k not in ("when", "sources", *INNER)}
    inner = tuple(_rule(name, part, where) for name in INNER for part in raw.get(name, ()))
    return Rule(kind, data, parse_condition(raw.get("when", ()), where), tuple(raw.get("sources", ())), inner)


@cache
def ruleset(name: str) -> Mapping[str, tuple[Rule, ...]]:
    """All rules of a file by their kind, in the order of the file."""
    text = files("forestay.plan").joinpath("rules", f"{name}.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    return {
        kind: tuple(
            _rule(kind, entry, f"{name}.toml, {kind} {entry.get('key', number)}")
            for number, entry in enumerate(entries)
        )
        for kind, entries in raw.items()
    }


def holding(name: str, kind: str, view: Mapping[str, Any], use: Reader) -> Iterator[Rule]:
    """The rules of that file and kind that hold, in order."""
    return (rule for rule in ruleset(name).get(kind, ()) if rule.holds(view, use))


def sentences(name: str, kind: str, view: Mapping[str, Any], use: Reader, part: str = "text") -> Iterable[str]:
    """The sentence ``part`` of every rule that holds."""
    return tuple(rule.say(part, view, use) for rule in holding(name, kind, view, use))
