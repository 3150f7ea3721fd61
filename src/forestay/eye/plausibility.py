"""Is what was written down plausible? Findings of three levels: ``note``, ``recheck``, ``refuse``. Checks are data."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, cast

from forestay.errors import RefusedFinding
from forestay.evidence import EvidenceSet, Reader, default_evidence
from forestay.eye.condition import Condition, parse_condition
from forestay.eye.filling import fill
from forestay.eye.records import CaseFile
from forestay.eye.view import flat

Level = Literal["note", "recheck", "refuse"]
LEVELS: tuple[Level, ...] = ("note", "recheck", "refuse")


@dataclass(frozen=True)
class Finding:
    """One implausible value: which field, its value, how far it goes, why, and whose rule it is."""

    field: str
    value: Any
    level: Level
    why: str
    key: str
    source: str

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {
            "field": self.field,
            "value": self.value,
            "level": self.level,
            "why": self.why,
            "key": self.key,
            "source": self.source,
        }


@dataclass(frozen=True)
class _Check:
    key: str
    field: str
    level: Level
    when: Condition
    why: str
    source: str


@cache
def _checks() -> tuple[_Check, ...]:
    raw = tomllib.loads(files("forestay.eye").joinpath("checks.toml").read_text(encoding="utf-8"))
    return tuple(
        _Check(
            c["key"],
            c["field"],
            cast(Level, c["level"]),
            parse_condition(c["when"], f"check {c['key']}"),
            c["why"],
            c["source"],
        )
        for c in raw["check"]
    )


def check(case: CaseFile, evidence: EvidenceSet | None = None, use: Reader | None = None) -> tuple[Finding, ...]:
    """All findings of ``case``, worst first; for one field only the worst of each kind of rule stays."""
    reader = use or (evidence or default_evidence()).reader()
    view = flat(case)
    found: dict[str, Finding] = {}
    for rule in _checks():
        if not rule.when.holds(view, reader):
            continue
        row = Finding(
            field=rule.field,
            value=view.get(rule.field),
            level=rule.level,
            why=fill(rule.why, view, reader),
            key=rule.key,
            source=reader.evidence_source(rule.source),
        )
        earlier = next((k for k, f in found.items() if _same_rule(k, rule.key) and f.field == row.field), None)
        if earlier is not None:
            del found[earlier]
        found[rule.key] = row
    return tuple(sorted(found.values(), key=lambda f: -LEVELS.index(f.level)))


def _same_rule(a: str, b: str) -> bool:
    """``length-fellow-note`` and ``length-fellow-recheck`` are two levels of one rule."""
    return a.removesuffix("-note") == b.removesuffix("-recheck") and a != b


def refuse_if_needed(findings: tuple[Finding, ...]) -> None:
    """Raise :class:`~forestay.errors.RefusedFinding` when a finding forbids planning."""
    worst = next((f for f in findings if f.level == "refuse"), None)
    if worst is not None:
        raise RefusedFinding(worst.why, field=worst.field, value=worst.value, allowed="a plausible value")
