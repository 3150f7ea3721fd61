"""The settings of the practice as they were said: parts, each kept as a whole with every change; nothing is overwritten.

What a part may hold is not known here: see ``forestay.services.settings``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from typing import Any, Protocol

from forestay.case.jsontext import canonical
from forestay.errors import ConflictingFact
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class Setting:
    """One change: who said when, from where, that a part of the settings is this."""

    number: int
    at: str
    author: str
    device: str
    part: str
    content: bytes


class SettingLog(Protocol):
    """Every change of the settings, in order."""

    def last(self) -> int:
        """The number of the last change, at little cost; 0 where there is none."""

    def rows(self, *, at: int | None = None) -> list[Setting]:
        """The changes, oldest first; up to the number ``at`` where that is given."""

    def add(
        self, part: str, content: bytes, *, author: str, device: str, at: datetime, based_on: int | None
    ) -> Setting:
        """Keep a change. ``based_on``: the last change of this part that the author saw; another one since is refused."""


def refuse_if_moved(rows: Sequence[Setting], part: str, based_on: int | None) -> None:
    """A change that somebody made meanwhile is never overwritten in silence."""
    last = next((row for row in reversed(rows) if row.part == part), None)
    if based_on is not None and last is not None and last.number > based_on:
        raise ConflictingFact(
            tr(
                "These settings were changed meanwhile (change {number}); what you typed is still on the page. "
                "Look at what is kept now, and send it again.",
                number=last.number,
            ),
            field="based_on",
            value=based_on,
        )


class MemorySettings:
    """Settings that are forgotten."""

    def __init__(self) -> None:
        self._rows: list[Setting] = []
        self._lock = Lock()

    def last(self) -> int:
        """See :meth:`SettingLog.last`."""
        return len(self._rows)

    def rows(self, *, at: int | None = None) -> list[Setting]:
        """See :meth:`SettingLog.rows`."""
        with self._lock:
            return [row for row in self._rows if at is None or row.number <= at]

    def add(
        self, part: str, content: bytes, *, author: str, device: str, at: datetime, based_on: int | None
    ) -> Setting:
        """See :meth:`SettingLog.add`."""
        with self._lock:
            refuse_if_moved(self._rows, part, based_on)
            made = Setting(len(self._rows) + 1, at.isoformat(), author, device, part, content)
            self._rows.append(made)
            return made


NAMES = Setting.__slots__


def setting_hash(previous: bytes, row: Setting) -> bytes:
    """SHA-256(hash of the change before ‖ the change as canonical JSON)."""
    told: dict[str, Any] = {name: getattr(row, name) for name in NAMES}
    return hashlib.sha256(previous + canonical({**told, "content": row.content.hex()})).digest()
