"""Where an eye goes on a day of many eyes: rules as data, the strictest group that holds wins."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, cast

from forestay.evidence import Reader
from forestay.eye.condition import Condition, parse_condition
from forestay.text import tr

Group = Literal["no-surgery", "not-today", "refer", "difficult", "look-again", "routine"]
STRICTEST_FIRST: tuple[Group, ...] = ("no-surgery", "not-today", "refer", "difficult")


@dataclass(frozen=True)
class SortRule:
    """One rule: into which group, when, why, and what it adds to the tray."""

    key: str
    into: Group
    when: Condition
    why: str
    tray: tuple[str, ...]


@dataclass(frozen=True)
class Sorted:
    """Where the eye goes, every reason for that group first, and what the tray gets beside the usual."""

    group: Group
    why: tuple[str, ...]
    tray: tuple[str, ...]
    rules: tuple[str, ...]


@cache
def sort_rules() -> tuple[SortRule, ...]:
    """The rules in the order of their file."""
    raw = tomllib.loads(files("forestay.eye").joinpath("sorting.toml").read_text(encoding="utf-8"))
    return tuple(
        SortRule(
            r["key"],
            cast(Group, r["into"]),
            parse_condition(r["when"], f"sorting.toml, {r['key']}"),
            r["why"],
            tuple(r.get("tray", ())),
        )
        for r in raw["sort"]
    )


def sort_eye(view: Mapping[str, Any], use: Reader) -> Sorted:
    """Sort one eye by the signs in ``view``; a sign that is not there decides nothing."""
    hold = [r for r in sort_rules() if r.when.holds(view, use)]
    group: Group = next((g for g in STRICTEST_FIRST if any(r.into == g for r in hold)), "routine")
    first = [r for r in hold if r.into == group]
    rest = [r for r in hold if r.into != group]
    tray = tuple(dict.fromkeys(tr(t) for r in hold if r.into == "difficult" for t in r.tray))
    return Sorted(
        group,
        tuple(tr(r.why) for r in (*first, *rest)),
        () if group in ("no-surgery", "not-today") else tray,
        tuple(r.key for r in (*first, *rest)),
    )
