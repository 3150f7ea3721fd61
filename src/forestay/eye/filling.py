"""Fills the named places of a sentence from a view and from evidence rows, so that no number is typed into a text."""

from __future__ import annotations

import string
from collections.abc import Mapping
from typing import Any

from forestay.errors import EvidenceError
from forestay.evidence import Reader
from forestay.text import Places, tr


class _Places(Places):
    """Looks a dotted name up whole: in the view first, then among the rows of evidence."""

    def __init__(self, view: Mapping[str, Any], use: Reader) -> None:
        self._view = view
        self._use = use
        self.missing: list[str] = []

    def get_field(self, field_name: str, args: Any, kwargs: Any) -> tuple[Any, str]:
        del args, kwargs
        if self._view.get(field_name) is not None:
            return self._view[field_name], field_name
        if field_name in self._use.evidence:
            return self._use.row(field_name).value, field_name
        raise EvidenceError(f"a sentence asks for {field_name}, which is neither known nor a row", field=field_name)


def fill(sentence: str, view: Mapping[str, Any], use: Reader) -> str:
    """``sentence`` in the reader's language with its places filled; rows read are counted as used."""
    told = tr(sentence)
    return _Places(view, use).format(told) if "{" in told or "}" in told else told


def names_in(sentence: str) -> frozenset[str]:
    """The dotted names that a sentence asks for."""
    return frozenset(name for _, name, _, _ in string.Formatter().parse(sentence) if name)
