"""Which solvers a test's room runs over: the compiled ones as a server does, or numpy as a single command does."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from forestay.mechanics import fast

COMPILED = frozenset({"browser", "calc", "cli", "plan", "report", "review", "services", "web"})
"""Rooms whose questions go to the compiled solvers. The engines' own tests ask numpy; `test_fast` holds the two alike,
and `test_backends` whole plans. A program that a test starts chooses for itself, as it does for anybody."""


@contextmanager
def solvers_of(room: str) -> Iterator[None]:
    """The solvers of a room while the block runs, and numpy again afterwards."""
    if room not in COMPILED:
        assert not fast.in_use()
        yield
        return
    assert fast.start(), "the extra `fast` belongs to the checks"
    try:
        yield
    finally:
        fast.stop()
