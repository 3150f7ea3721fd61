"""A folder into which instruments write: each file is kept or refused, and moved aside with the reason.

A file is taken when it has not changed between two looks, so that one still being written is left alone. It is moved only
after it was kept: stopped in between, the next look takes it again, and a repeat changes nothing.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from forestay.case.case_file import LARGEST_BYTES
from forestay.errors import ForestayError, UnreadableFile
from forestay.services.arrivals import take
from forestay.store.interface import FactStore
from forestay.text import tr

DONE, REFUSED, REASON = "done", "refused", ".reason.txt"
SERVER_TROUBLE = 500
MOST_NAMES = 10_000


@dataclass(slots=True)
class Watch:
    """One folder, and how its files looked the last time."""

    store: FactStore
    folder: Path
    tell: Callable[[str], None]
    seen: dict[str, tuple[int, int]] = field(default_factory=dict)

    def look(self, *, at_once: bool = False) -> int:
        """Take every file that has come to rest; how many were taken. ``at_once``: without a second look."""
        now = {path.name: path for path in self._files()}
        before, self.seen = self.seen, {}
        taken = 0
        for name in sorted(now):
            state = _state(now[name])
            if state is None:
                continue
            if at_once or before.get(name) == state:
                taken += self._take(now[name])
            else:
                self.seen[name] = state
        return taken

    def _files(self) -> list[Path]:
        try:
            return [
                p for p in self.folder.iterdir() if p.is_file() and not p.is_symlink() and not p.name.startswith(".")
            ]
        except OSError as wrong:
            raise UnreadableFile(
                tr("{name} cannot be read: {why}.", name=str(self.folder), why=wrong.strerror or str(wrong)),
                field="FOLDER",
                value=str(self.folder),
                allowed=tr("a folder"),
            ) from None

    def _take(self, file: Path) -> bool:
        shown = "".join(c if c.isprintable() else "?" for c in file.name)[:80]
        try:
            if file.stat().st_size > LARGEST_BYTES:
                raise UnreadableFile(tr("{name} is too large.", name=shown))
            done = take(self.store, file.read_bytes(), shown)
        except ForestayError as wrong:
            if wrong.http_status >= SERVER_TROUBLE:  # the record does not answer: the file waits
                self.tell(tr("{name} waits: {why}", name=shown, why=wrong.message))
                return False
            self._aside(file, REFUSED, wrong.message)
            self.tell(tr("{name} refused: {why}", name=shown, why=wrong.message))
            return True
        except OSError as wrong:
            self.tell(tr("{name} waits: {why}", name=shown, why=wrong.strerror or str(wrong)))
            return False
        self._aside(file, DONE, "")
        for one in done:
            self.tell(tr("{name}: case {case}, {new} new facts.", name=shown, case=one.case, new=one.new))
            for note in one.notes:
                self.tell(note)
        return True

    def _aside(self, file: Path, where: str, reason: str) -> None:
        """Move the file, never over another one; beside a refused one stands why."""
        target = self.folder / where
        target.mkdir(exist_ok=True)
        for n in range(MOST_NAMES):
            place = target / (file.name if n == 0 else f"{file.stem}-{n}{file.suffix}")
            if not place.exists():
                break
        if reason:
            place.with_name(place.name + REASON).write_text(reason + "\n", encoding="utf-8")
        os.replace(file, place)


def _state(file: Path) -> tuple[int, int] | None:
    try:
        told = file.stat()
    except OSError:
        return None
    return told.st_size, told.st_mtime_ns
