"""The code on a box: GS1 element strings as a scanner types them, with or without brackets."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from forestay.errors import InvalidInput
from forestay.text import tr

SEPARATOR = "\x1d"
LONGEST = 200


@dataclass(frozen=True)
class DeviceCode:
    """What a box says of itself: number of the article, serial, lot, expiry."""

    gtin: str
    serial: str | None
    lot: str | None
    expires: date | None


def read_code(text: str) -> DeviceCode:
    """The parts of a scanned code; one clear error where it is not a code of a device.

    >>> read_code("(01)09521234543213(17)261231(10)ABC123(21)12345").gtin
    '09521234543213'
    """
    import biip
    from biip import ParseError

    plain = text.strip()
    if len(plain) > LONGEST or not plain:
        raise _unreadable()
    if plain.startswith("("):
        plain = re.sub(r"\((\d{2,4})\)", SEPARATOR + r"\1", plain).removeprefix(SEPARATOR)
    try:
        found = biip.parse(plain).gs1_message
    except (ParseError, ValueError, IndexError):  # the last where a scanner sends a lone bracket
        raise _unreadable() from None
    if found is None:
        raise _unreadable()
    parts = {element.ai.ai: element for element in found.element_strings}
    article = parts.get("01")
    if article is None or article.gtin is None:
        raise _unreadable()
    expiry = parts.get("17")
    return DeviceCode(
        gtin=article.value,
        serial=parts["21"].value if "21" in parts else None,
        lot=parts["10"].value if "10" in parts else None,
        expires=expiry.date if expiry is not None else None,
    )


def _unreadable() -> InvalidInput:
    return InvalidInput(
        tr(
            "The code cannot be read as that of a device; scan it again, or type what stands in brackets below the bars."
        ),
        field="code",
        allowed=tr("GS1 with an article number, as in (01)09521234543213(21)12345"),
    )
