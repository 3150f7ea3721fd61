"""A part of a DICOM object that is asked for one thing at a time: what is absent, doubled or impossible is one clear error."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from forestay.errors import InvalidInput, MissingInput
from forestay.exchange.dicom_terms import Code
from forestay.eye.quantity import allowed as limits_in_words
from forestay.eye.quantity import bounds
from forestay.text import tr

LONGEST_SHOWN = 60


def named(keyword: str) -> str:
    """An attribute as a message names it.

    >>> named("OphthalmicAxialLength")
    'OphthalmicAxialLength (0022,1019)'
    """
    from pydicom.datadict import tag_for_keyword

    tag = tag_for_keyword(keyword) or 0
    return f"{keyword} ({tag >> 16:04X},{tag & 0xFFFF:04X})"


def wrong(keyword: str, value: Any, allowed: str, where: str) -> InvalidInput:
    """The error for a value that cannot be."""
    shown = str(value)[:LONGEST_SHOWN]
    return InvalidInput(
        tr(
            "{tag} in {where} is {value}; allowed: {allowed}.",
            tag=named(keyword),
            where=where,
            value=shown,
            allowed=allowed,
        ),
        field=named(keyword),
        value=shown,
        allowed=allowed,
    )


@dataclass(frozen=True, slots=True)
class Part:
    """A data set or one item of a sequence, with what a message calls it."""

    data: Any
    where: str

    def has(self, keyword: str) -> bool:
        """Whether the attribute is there and not empty."""
        value = self.data.get(keyword)
        return value is not None and not (isinstance(value, str | bytes) and not value) and value != []

    def items(self, keyword: str) -> list[Part]:
        """The items of a sequence, none where it is absent."""
        from pydicom.sequence import Sequence

        value = self.data.get(keyword)
        if value is None:
            return []
        if not isinstance(value, Sequence):
            raise wrong(keyword, value, tr("a sequence"), self.where)
        return [Part(item, self.where) for item in value]

    def item(self, keyword: str, where: str = "") -> Part | None:
        """The one item of a sequence; None where it is absent or empty."""
        found = self.items(keyword)
        if len(found) > 1:
            raise wrong(keyword, tr("{n} items", n=len(found)), tr("one item"), self.where)
        return Part(found[0].data, where or self.where) if found else None

    def need(self, keyword: str) -> Part:
        """The one item of a sequence that the standard makes compulsory."""
        found = self.item(keyword)
        if found is None:
            raise self.missing(keyword)
        return found

    def missing(self, keyword: str) -> MissingInput:
        """The error for an attribute that is compulsory and absent."""
        return MissingInput(
            tr("{tag} is missing in {where}.", tag=named(keyword), where=self.where),
            field=named(keyword),
            allowed=tr("a value, as the standard asks"),
        )

    def plain_number(self, keyword: str) -> float | None:
        """A finite number; None where it is absent."""
        if not self.has(keyword):
            return None
        value = self.data.get(keyword)
        if isinstance(value, int | float) and math.isfinite(value):
            return float(value)
        raise wrong(keyword, value, tr("one number"), self.where)

    def number(self, keyword: str, limit: str, *, scale: float = 1.0) -> float | None:
        """A number within the range of the quantity ``limit``, unscaled; ``scale`` turns it into that quantity's unit."""
        value = self.plain_number(keyword)
        if value is None:
            return None
        low, high = bounds(limit)
        if not low <= value * scale <= high:
            words = limits_in_words(limit) if scale == 1.0 else f"{low / scale:g} – {high / scale:g}"
            raise wrong(keyword, f"{value:g}", words, self.where)
        return value

    def word(self, keyword: str, allowed: Collection[str]) -> str | None:
        """One of a few words; None where it is absent."""
        if not self.has(keyword):
            return None
        value = self.data.get(keyword)
        if not isinstance(value, str) or value not in allowed:
            raise wrong(keyword, value, ", ".join(allowed), self.where)
        return value

    def code(self, keyword: str, allowed: Mapping[Code, str]) -> Code | None:
        """One of a few codes; None where the sequence is absent."""
        item = self.item(keyword)
        if item is None:
            return None
        code = (str(item.data.get("CodingSchemeDesignator")), str(item.data.get("CodeValue")))
        if code not in allowed:
            known = ", ".join(f"{value} {scheme} ({words})" for (scheme, value), words in allowed.items())
            raise wrong(keyword, f"{code[1]} {code[0]}", known, self.where)
        return code

    def need_code(self, keyword: str, allowed: Mapping[Code, str]) -> Code:
        """One of a few codes that the standard makes compulsory."""
        code = self.code(keyword, allowed)
        if code is None:
            raise self.missing(keyword)
        return code
