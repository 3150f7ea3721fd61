"""Reading what a command was given, and writing JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from forestay.errors import UnreadableFile
from forestay.text import tr


def bytes_of(path: Path, argument: str) -> tuple[bytes, str]:
    """The bytes of a file and its name; ``-`` is standard input."""
    if str(path) == "-":
        return sys.stdin.buffer.read(), tr("standard input")
    try:
        return path.read_bytes(), path.name
    except OSError as wrong:
        raise UnreadableFile(
            tr("{name} cannot be read: {why}.", name=str(path), why=wrong.strerror or str(wrong)),
            field=argument,
            value=str(path),
            allowed=tr("a file that can be read"),
        ) from None


def print_json(value: Any) -> None:
    """A value as JSON on standard output."""
    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
