"""What the visits after surgery are compared with: days of each visit, and what to do on what is found. Data of rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from tomllib import loads
from typing import Any

from forestay.evidence import Reader
from forestay.plan.ruleset import holding


@dataclass(frozen=True)
class Window:
    """The days in which a visit falls, counted from the operation."""

    visit: str
    first_day: int
    last_day: int


@cache
def windows() -> dict[str, tuple[Window, ...]]:
    """The days of each visit, by the words of the visit; a visit that comes again has several."""
    found: dict[str, tuple[Window, ...]] = {}
    for raw in _rules()["window"]:
        one = Window(raw["visit"], raw["first_day"], raw["last_day"])
        found[one.visit] = (*found.get(one.visit, ()), one)
    return found


@dataclass(frozen=True)
class Advice:
    """What a visit showed that is out of the ordinary, what to do on it, and whose word that is."""

    key: str
    says: str
    do: str
    sources: tuple[str, ...]


def advice(view: Mapping[str, Any], use: Reader) -> tuple[Advice, ...]:
    """What the figures of a visit ask for; nothing is concluded from what was not measured."""
    return tuple(
        Advice(str(rule.data["key"]), rule.say("say", view, use), rule.say("do", view, use), rule.cite(use))
        for rule in holding("followup", "figure", view, use)
    )


@dataclass(frozen=True)
class SignRule:
    """What a visit may find: what it is called, the event that keeps it (None: its own words), what to do."""

    key: str
    say: str
    event: str | None
    do: str
    sources: tuple[str, ...] = ()


@cache
def signs() -> dict[str, SignRule]:
    """What a visit may find, by key."""
    return {
        raw["key"]: SignRule(raw["key"], raw["say"], raw.get("event"), raw["do"], tuple(raw["sources"]))
        for raw in _rules()["sign"]
    }


def sources() -> tuple[str, ...]:
    """Keys of all sources of these rules."""
    return tuple(dict.fromkeys(key for raw in _rules()["sign"] for key in raw["sources"]))


def _rules() -> dict[str, Any]:
    return loads(files("forestay.plan").joinpath("rules", "followup.toml").read_text(encoding="utf-8"))
