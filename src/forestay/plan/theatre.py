"""What theatre asks and keeps, as data: the checks read aloud, and what each finding means for the record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from tomllib import loads
from typing import Any

from forestay.text import tr


@dataclass(frozen=True)
class CheckItem:
    """One thing that is said aloud and ticked."""

    key: str
    text: str


@dataclass(frozen=True)
class CheckGroup:
    """The checks of one moment, with the sources of their structure."""

    key: str
    name: str
    items: tuple[CheckItem, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True)
class FindingRule:
    """What a tap keeps: an event, fields of the case file, or a figure that is asked for."""

    key: str
    say: str
    cues: tuple[str, ...]
    event: str | None
    sets: Mapping[str, Any]
    ask: str | None
    ladder: str | None
    always: bool
    stays: str
    """Why the plan may stay as it is, and what to go by; empty where the finding always moves it."""
    positions: tuple[str, ...]
    """Where a lens may lie then."""


@cache
def check_groups() -> tuple[CheckGroup, ...]:
    """The checks in the order of the day."""
    return tuple(
        CheckGroup(
            raw["key"],
            raw["name"],
            tuple(CheckItem(item["key"], item["text"]) for item in raw["item"]),
            tuple(raw["sources"]),
        )
        for raw in _rules("timeout")["group"]
    )


@cache
def finding_rules() -> tuple[FindingRule, ...]:
    """Every finding that is known to mean something."""
    return tuple(
        FindingRule(
            key=raw["key"],
            say=raw["say"],
            cues=tuple(raw.get("cues", ())),
            event=raw.get("event"),
            sets=raw.get("set", {}),
            ask=raw.get("ask"),
            ladder=raw.get("ladder"),
            always=raw.get("always", False),
            stays=raw.get("stays", ""),
            positions=tuple(raw.get("positions", ())),
        )
        for raw in _rules("findings")["finding"]
    )


def rule_for_cue(see: str) -> FindingRule | None:
    """What a cue of the steps, in the words of its rule or of the reader's language, means for the record; None where it
    only was seen."""
    return next((rule for rule in finding_rules() if see in rule.cues or see in map(tr, rule.cues)), None)


def _rules(name: str) -> dict[str, Any]:
    return loads(files("forestay.plan").joinpath("rules", f"{name}.toml").read_text(encoding="utf-8"))
