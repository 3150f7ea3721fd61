"""What plans are made with just now: the shelves of the settings, else those that the program was started with."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from threading import Lock
from typing import Literal

from forestay.services.planner import Given
from forestay.services.settings import Settings, settings
from forestay.store.interface import FactStore

From = Literal["option", "settings", "file", "demo", "nowhere", "then"]
"""Where a shelf comes from: a file named at the start, the settings, the file of the data folder, the invented practice;
``then``: settings as they were."""


@dataclass(frozen=True)
class Start:
    """What the program was started with, and where its shelves come from."""

    given: Given = field(default_factory=Given)
    lenses: From = "nowhere"
    devices: From = "nowhere"


@dataclass(frozen=True)
class Now:
    """The settings as they are kept, what plans are made with, and where the shelves come from."""

    kept: Settings
    given: Given
    lenses: From
    devices: From


def combined(kept: Settings, start: Start) -> Now:
    """The settings where they say something, else what the program was started with. A file named at the start stays."""
    lenses = None if start.lenses == "option" else kept.lenses
    parts = (("lenses", lenses), ("devices", kept.devices), ("signs", kept.signs))
    used = [kept.seen(name) for name, part in parts if part is not None]
    given = replace(
        start.given,
        lenses=start.given.lenses if lenses is None else lenses,
        devices=start.given.devices if kept.devices is None else kept.devices,
        settings=str(max(used)) if used else "",
        ratios=kept.signs.ratios if kept.signs is not None else (),
    )
    return Now(
        kept,
        given,
        start.lenses if lenses is None else "settings",
        start.devices if kept.devices is None else "settings",
    )


class InForce:
    """Reads the settings again when they were changed, by whichever program. Safe to use from several threads."""

    def __init__(self, store: FactStore, start: Start) -> None:
        self._store = store
        self._start = start
        self._lock = Lock()
        self._now = combined(settings(store), start)

    @property
    def now(self) -> Now:
        """What holds now; what plans are made with is the same object as long as nothing of it changes."""
        with self._lock:
            if self._store.practice.last() != self._now.kept.number:
                fresh = combined(settings(self._store), self._start)
                same = fresh.given.digest == self._now.given.digest
                self._now = replace(fresh, given=self._now.given) if same else fresh
            return self._now

    def then(self, at: int) -> Now:
        """The settings as they were after the change ``at``, whatever the program was started with."""
        kept = settings(self._store, at=at)
        ratios = kept.signs.ratios if kept.signs is not None else ()
        given = Given(lenses=kept.lenses, devices=kept.devices, settings=str(at), ratios=ratios)
        return Now(kept, given, "then", "then")
