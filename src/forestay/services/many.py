"""Many eyes from files of any form: what a batch plans."""

from __future__ import annotations

from collections.abc import Iterable

from forestay.batch.whole import Eye
from forestay.exchange.practice_file import CASES, looks_like_practice, read_parts


def eyes_in(files: Iterable[tuple[bytes, str]]) -> list[Eye]:
    """One eye for each case file and each file of facts; those of an export of a practice, each under its own name."""
    found: list[Eye] = []
    for data, name in files:
        if looks_like_practice(data):
            parts = read_parts(data, name)
            found += [Eye(part, parts[part]) for part in sorted(parts) if part.startswith(CASES)]
        else:
            found.append(Eye(name, data))
    return found
