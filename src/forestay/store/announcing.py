"""Tells whoever listens in this program that a case has new facts."""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock

Listener = Callable[[str], None]
"""Called with the case, from any thread, after the facts are on disk. It must return at once and never fail."""


class Announcing:
    """Keeps listeners; the store calls :meth:`announce` after it kept something."""

    def __init__(self) -> None:
        self._listeners: list[Listener] = []
        self._listening = Lock()

    def listen(self, listener: Listener) -> Callable[[], None]:
        """Call ``listener`` from now on; what is given back ends it."""
        with self._listening:
            self._listeners.append(listener)

        def end() -> None:
            with self._listening:
                self._listeners = [one for one in self._listeners if one is not listener]

        return end

    def announce(self, case_id: str) -> None:
        """Say that a case has new facts."""
        with self._listening:
            listeners = tuple(self._listeners)
        for listener in listeners:
            listener(case_id)
