"""Conditions of rules as data: ``biometry.axial_length_mm < @plausible.length_low_mm``, ``person.allergies has latex``.

One line is one comparison. A rule holds where all of its lines hold; ``|`` joins alternatives on one line. A value that
is not known makes a comparison false, whichever way it points: nothing is concluded from what was not looked for
(``… unknown`` asks for just that). ``@key`` is a row of evidence, so that no threshold stands in a rule.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from forestay.errors import EvidenceError
from forestay.evidence import Reader

View = Mapping[str, Any]
"""Everything a rule may look at, by dotted name; an absent name or ``None`` is "not known"."""

_COMPARE: dict[str, Callable[[Any, Any], bool]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "=": operator.eq,
    "!=": operator.ne,
}
_LINE = re.compile(
    r"^(?P<name>[a-z_][\w.\-]*)\s+(?P<op><=|>=|<|>|!=|=|in|has|lacks|known|unknown)(?:\s+(?P<value>.+))?$"
)


@dataclass(frozen=True)
class Comparison:
    """One comparison of one named value."""

    name: str
    op: str
    value: str | None

    def holds(self, view: View, use: Reader) -> bool:
        """Whether it holds in ``view``; rows named by ``@`` are read through ``use``, and only where compared."""
        found = view.get(self.name)
        if self.op == "known":
            return found is not None
        if self.op == "unknown":
            return found is None
        if found is None or self.value is None:
            return False
        if self.op == "in":
            return str(found) in {v.strip() for v in self.value.split(",")}
        if self.op in ("has", "lacks"):
            wanted = {v.strip() for v in self.value.split(",")}
            return bool(wanted & {str(v) for v in found}) == (self.op == "has")
        return _COMPARE[self.op](found, self._target(found, use))

    def _target(self, found: Any, use: Reader) -> Any:
        value = self.value or ""
        if value.startswith("@"):
            return use.number(value[1:])
        if isinstance(found, bool):
            return value == "true"
        if isinstance(found, int | float):
            return float(value)
        return value


@dataclass(frozen=True)
class Condition:
    """All lines must hold; a line is a list of alternatives of which one must."""

    lines: tuple[tuple[Comparison, ...], ...]

    def holds(self, view: View, use: Reader) -> bool:
        """Whether the condition holds in ``view``."""
        return all(any(c.holds(view, use) for c in line) for line in self.lines)

    @property
    def names(self) -> frozenset[str]:
        """The names that the condition looks at."""
        return frozenset(c.name for line in self.lines for c in line)

    @cached_property
    def rows(self) -> tuple[str, ...]:
        """The rows of evidence that it compares with."""
        values = (c.value or "" for line in self.lines for c in line)
        return tuple(value[1:] for value in values if value.startswith("@"))


def parse_condition(lines: Iterable[str], where: str) -> Condition:
    """Read the lines of a rule; a line that cannot be read is a fault of the rule file."""
    return Condition(tuple(tuple(_comparison(part.strip(), where) for part in line.split("|")) for line in lines))


def _comparison(text: str, where: str) -> Comparison:
    match = _LINE.match(text)
    if not match:
        raise EvidenceError(f"{where}: cannot read the condition {text!r}", value=text)
    op, value = match["op"], match["value"]
    if (value is None) != (op in ("known", "unknown")):
        raise EvidenceError(f"{where}: the condition {text!r} has no value to compare with", value=text)
    return Comparison(match["name"], op, value)
