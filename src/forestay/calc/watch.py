"""Constants that report which of their rows an engine really looked at."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, TypeVar, cast

from forestay.evidence import Reader

C = TypeVar("C")


def watched(use: Reader, kind: type[C]) -> C:
    """The constants ``kind``, whose rows count as used only once an engine reads them.

    An engine takes all constants of its family as one object and looks at those that this eye needs; so an answer
    names only the sources, and only the doubts, that it rests on.
    """
    prefix = cast(Any, kind).PREFIX
    names = frozenset(field.name for field in fields(cast(Any, kind)))
    whole = use.evidence.reader().constants(kind)

    class Watched(kind):  # type: ignore[valid-type,misc]
        def __getattribute__(self, name: str) -> Any:
            if name in names:
                use.row(f"{prefix}.{name}")
            return object.__getattribute__(self, name)

    return cast(C, Watched(**{name: getattr(whole, name) for name in names}))
