"""Shares draws out among the cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

CORES = os.cpu_count() or 1
LEAST_DRAWS = 512  # fewer draws than this are not worth a thread


def shared_out(kernel: Callable[..., Any], draws: int, given: tuple[Any, ...], *, step: int = 1) -> None:
    """Call ``kernel(first, last, *given)`` on parts of the draws, one to a core; the answers do not depend on how many.

    The kernel must not hold the interpreter's lock and writes each draw's answer into arrays of its own. Parts begin at
    a multiple of ``step``.
    """
    parts = min(CORES, max(draws // LEAST_DRAWS, 1))
    if parts == 1:
        kernel(0, draws, *given)
        return
    size = -(-draws // (parts * step)) * step
    cuts = [(first, min(first + size, draws)) for first in range(0, draws, size)]
    with ThreadPoolExecutor(len(cuts)) as pool:
        for done in [pool.submit(kernel, first, last, *given) for first, last in cuts]:
            done.result()
