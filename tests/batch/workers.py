"""What a worker process does in the tests; light to import."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from forestay.batch.units import Unit, keep


def slow_then_mark(unit: Unit) -> None:
    """Takes long enough to be killed; each worker notes its number."""
    (Path(unit.folder) / f"worker-{os.getpid()}").touch()
    time.sleep(0.15)
    keep(unit, lambda path: path.write_bytes(f"{unit.chunk}".encode()))


def die(unit: Unit) -> None:
    """Ends its own process, as the kernel does when memory runs out."""
    os.kill(os.getpid(), signal.SIGKILL)


def mark(unit: Unit) -> None:
    """Writes the number of its chunk."""
    keep(unit, lambda path: path.write_bytes(f"{unit.chunk}".encode()))
