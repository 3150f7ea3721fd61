"""Looks over what the rules beside a plan point at: cues, ladders and fields of findings, visits of follow-up, boxes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any, Literal

from forestay.plan.ruleset import Rule
from forestay.plan.ruleview import Table, bounds_of, is_field, words_of

Trouble = Literal["unreachable", "contradiction", "unknown word", "unknown rule", "twice"]
Link = tuple[Trouble, str, str]
"""Kind of fault, where, what."""


def links(table: Table) -> Iterator[Link]:
    """Everything that a finding, a visit or a box names and that is not there, or is there twice."""
    yield from _findings(table)
    yield from _windows(table)
    yield from _boxes(table)
    yield from _states(table)


def _rules(table: Table, file: str, kind: str) -> tuple[Rule, ...]:
    return tuple(table.get(file, {}).get(kind, ()))


def _findings(table: Table) -> Iterator[Link]:
    """A cue of a finding is the sentence of a step, and of one finding only; its ladder and its fields are known."""
    seen = {str(c.data["see"]) for s in _rules(table, "steps", "step") for c in s.inner if c.kind == "cue"}
    ladders = {str(f.data["key"]) for f in _rules(table, "fallbacks", "fallback")}
    findings = _rules(table, "findings", "finding")
    named = Counter(cue for f in findings for cue in f.data.get("cues", ()))
    for finding in findings:
        where = f"findings.toml, finding {finding.data['key']}"
        for cue in finding.data.get("cues", ()):
            if cue not in seen:
                yield "unknown rule", where, f"no step has the cue {cue!r}"
            if named[cue] > 1:
                yield "twice", where, f"the cue {cue!r} means more than one finding"
        ladder = finding.data.get("ladder")
        if ladder is not None and ladder not in ladders:
            yield "unknown rule", where, f"no ladder is called {ladder!r}"
        asked = [(name, None) for name in (finding.data.get("ask"),) if name]
        for name, value in [*finding.data.get("set", {}).items(), *asked]:
            if not is_field(name):
                yield "unknown word", where, f"{name} is no field of the case file"
            elif value is not None and not _holds(name, value):
                yield "unknown word", where, f"{name} is never {value!r}"


def _holds(name: str, value: Any) -> bool:
    known = words_of(name)
    if known is not None:
        return value in known
    if isinstance(value, bool):
        return True
    low, high = bounds_of(name)
    return not isinstance(value, int | float) or low <= value <= high


def _states(table: Table) -> Iterator[Link]:
    """What an event does to steps names steps; a step that is done at once names a state, and asks for it."""
    steps = _rules(table, "steps", "step")
    keys, states = {str(s.data["key"]) for s in steps}, _rules(table, "events", "state")
    for state in states:
        where = f"events.toml, state {state.data['key']}"
        also = [str(key) for part in state.inner for key in part.data["steps"]]
        for key in (*state.data.get("keeps", ()), *state.data.get("leaves_out", ()), *also):
            if key not in keys:
                yield "unknown rule", where, f"no step is called {key!r}"
    for step in (s for s in steps if "now" in s.data):
        where = f"steps.toml, step {step.data['key']}"
        if step.data["now"] not in {s.data["key"] for s in states}:
            yield "unknown rule", where, f"no state is called {step.data['now']!r}"
        if "progress.states" not in step.when.names:
            yield "contradiction", where, "is done at once in a state, and does not ask for it"


def _windows(table: Table) -> Iterator[Link]:
    """Every visit has its days and every window its visit; days run forward."""
    visits = {str(v.data["when_text"]) for v in _rules(table, "after", "visit")}
    windows = _rules(table, "followup", "window")
    for window in windows:
        name = str(window.data["visit"])
        where = f"followup.toml, window {name}"
        if name not in visits:
            yield "unknown rule", where, "no visit is called so"
        if window.data["first_day"] > window.data["last_day"]:
            yield "contradiction", where, "ends before it begins"
    if windows:
        for name in sorted(visits - {str(w.data["visit"]) for w in windows}):
            yield "unknown rule", f"after.toml, visit {name}", "no window says in which days it falls"


def _boxes(table: Table) -> Iterator[Link]:
    """The key of a box is what the record keeps: it stands once in all groups, and each group has boxes."""
    groups = _rules(table, "timeout", "group")
    keys = Counter(str(item["key"]) for g in groups for item in g.data.get("item", ()))
    for group in groups:
        where = f"timeout.toml, group {group.data['key']}"
        if not group.data.get("item"):
            yield "unreachable", where, "has no box to tick"
        for item in group.data.get("item", ()):
            if keys[str(item["key"])] > 1:
                yield "twice", where, f"the box {item['key']!r} stands more than once"
