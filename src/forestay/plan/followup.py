"""What the visits after surgery are compared with: days of each visit, and what to do on what is found. Data of rules."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from tomllib import loads
from typing import Any


@dataclass(frozen=True)
class Window:
    """The days in which a visit falls, counted from the operation."""

    visit: str
    first_day: int
    last_day: int


@cache
def windows() -> dict[str, Window]:
    """The days of each visit, by the words of the visit."""
    return {raw["visit"]: Window(raw["visit"], raw["first_day"], raw["last_day"]) for raw in _rules()["window"]}


@dataclass(frozen=True)
class SignRule:
    """What a visit may find: what it is called, the event that keeps it (None: its own words), what to do."""

    key: str
    say: str
    event: str | None
    do: str


@cache
def signs() -> dict[str, SignRule]:
    """What a visit may find, by key."""
    return {raw["key"]: SignRule(raw["key"], raw["say"], raw.get("event"), raw["do"]) for raw in _rules()["sign"]}


def sources() -> tuple[str, ...]:
    """Keys of all sources of these rules."""
    return tuple(dict.fromkeys(key for raw in _rules()["sign"] for key in raw["sources"]))


def _rules() -> dict[str, Any]:
    return loads(files("forestay.plan").joinpath("rules", "followup.toml").read_text(encoding="utf-8"))
