"""How a kernel is compiled: with the compiler of the extra ``fast``; without it a kernel stays plain Python."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from hashlib import sha256
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

COMPILER = "numba"
"""The library of the extra ``fast``: optional, and imported nowhere else."""
MARK_GRID = 12
"""Letters of the mark of an edition."""


LOCKS = "fcntl"
"""The part of the standard library that locks files, where the system has it."""
_folders: list[Path] = []
"""Where machine code is kept."""


@contextmanager
def claimed(name: str, *, wait: bool, folder: Path | None = None) -> Iterator[bool]:
    """The right to compile what goes by that name, so that no two processes compile the same at once: who waits, or
    comes back later, finds the machine code kept.

    ``wait`` until no other process has it; without, False says that one has. ``folder``: where machine code is kept; where
    that cannot be written, or the system knows no locks, everyone compiles for himself.
    """
    kept = folder or next(iter(_folders), None)
    if kept is None or find_spec(LOCKS) is None:
        yield True
        return
    locks = import_module(LOCKS)
    try:
        kept.mkdir(parents=True, exist_ok=True)
        file = (kept / f"{name}.lock").open("a")
    except OSError:
        yield True
        return
    with file:
        try:
            locks.flock(file, locks.LOCK_EX if wait else locks.LOCK_EX | locks.LOCK_NB)
            mine = True
        except BlockingIOError:
            mine = False
        except OSError:  # a file system without locks
            mine = True
        yield mine


@cache
def _compiler() -> Any:
    return import_module(COMPILER) if available() else None


@cache
def _edition() -> str:
    """A mark of all kernels' sources: machine code kept from another edition is never taken up again."""
    digest = sha256()
    for source in sorted(Path(__file__).parent.glob("fast_*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:MARK_GRID]


def available() -> bool:
    """Whether the compiler is installed."""
    return find_spec(COMPILER) is not None


def compiled(function: Callable[..., Any], *, part: bool = False, **how: Any) -> Any:
    """``function`` as machine code, without the interpreter's lock; kept beside the source where that can be written.

    A kernel uses loops and arrays only, so that it says the same compiled and not. ``part``: one that other kernels call
    and Python does not: the compiler then does not work at how Python would call it.
    """
    numba = _compiler()
    if numba is None:
        return function
    function.__qualname__ = f"{function.__qualname__}_{_edition()}"  # names what is kept
    if part:
        return numba.njit(nogil=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True, **how)(
            function
        )
    try:
        made = numba.njit(nogil=True, error_model="numpy", cache=True, **how)(function)
        _folders.append(Path(made.stats.cache_path))
        return made
    except RuntimeError:  # no place to keep it: compiled anew in each process
        return numba.njit(nogil=True, error_model="numpy", **how)(function)
