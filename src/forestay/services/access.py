"""The table of who may do what (``access.toml``), read once."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

FILE = Path(__file__).with_name("access.toml")
Verdict = Literal["allowed", "sign in", "refused"]
EVERYONE, ANYONE = "everyone", "anyone"


@dataclass(frozen=True, slots=True)
class Rule:
    """One row: which addresses and methods, and what they ask for."""

    path: str
    pattern: re.Pattern[str]
    methods: frozenset[str]
    may: str
    reads: bool
    """Whether an answer shows a case, which is noted."""
    by_itself: bool = False
    """Whether a page asks this by itself, which keeps no session alive."""
    only: tuple[str, ...] = ()
    """Beginnings of addresses that a wide row is narrowed to."""

    def fits(self, method: str, path: str) -> bool:
        """Whether the row speaks of this request."""
        narrowed = not self.only or path.startswith(self.only)
        return method in self.methods and narrowed and self.pattern.fullmatch(path) is not None


@dataclass(frozen=True, slots=True)
class Table:
    """The whole table."""

    permissions: dict[str, str]
    roles: dict[str, frozenset[str]]
    kinds: dict[str, str]
    not_by_pin: frozenset[str]
    limits: dict[str, Any]
    rules: tuple[Rule, ...]

    def rule(self, method: str, path: str) -> Rule | None:
        """The first row that fits; None where nothing is said, which means refused."""
        asked = "GET" if method == "HEAD" else method
        return next((rule for rule in self.rules if rule.fits(asked, path)), None)

    def verdict(self, method: str, path: str, permissions: frozenset[str] | None) -> Verdict:
        """What becomes of a request; ``permissions`` is None for somebody who is signed out."""
        rule = self.rule(method, path)
        if rule is not None and rule.may == EVERYONE:
            return "allowed"
        if permissions is None:
            return "sign in"
        if rule is not None and (rule.may == ANYONE or rule.may in permissions):
            return "allowed"
        return "refused"

    def case_in(self, path: str) -> str | None:
        """The case that an address names."""
        named = re.match(r"/(?:api/)?cases/([^/]+)", path)
        return named[1] if named else None


@cache
def table() -> Table:
    """The table that ships."""
    told = tomllib.loads(FILE.read_text(encoding="utf-8"))
    return Table(
        permissions=told["permissions"],
        roles={name: frozenset(given) for name, given in told["roles"].items()},
        kinds=told["kinds"],
        not_by_pin=frozenset(told["by_pin"]["not"]),
        limits=told["limits"],
        rules=tuple(
            Rule(
                path=row["path"],
                pattern=_pattern(row["path"]),
                methods=frozenset(row["methods"]),
                may=row["may"],
                reads=row.get("reads", False),
                by_itself=row.get("by_itself", False),
                only=tuple(row.get("only", ())),
            )
            for row in told["route"]
        ),
    )


def _pattern(path: str) -> re.Pattern[str]:
    parts = re.split(r"(\{\w+\}|\*\*)", path)
    made = "".join({"**": ".*"}.get(part, "[^/]+" if part.startswith("{") else re.escape(part)) for part in parts)
    return re.compile(made, re.DOTALL)
