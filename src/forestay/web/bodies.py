"""Reads a JSON body strictly: text, of bearable size, without the numbers that JSON does not have."""

from __future__ import annotations

import json
from typing import Any, NoReturn

from starlette.requests import Request

from forestay.errors import ForestayError, UnreadableFile
from forestay.text import tr

LARGEST_BODY_BYTES = 4_000_000


class TooLarge(ForestayError):
    """More was sent than is read at once."""

    code = "too-large"
    http_status = 413


async def read_json(request: Request) -> Any:
    """The body as plain values, or one :class:`~forestay.errors.ForestayError`."""
    parts = bytearray()
    async for part in request.stream():
        parts += part
        if len(parts) > LARGEST_BODY_BYTES:
            words = tr("at most {bytes} bytes", bytes=LARGEST_BODY_BYTES)
            raise TooLarge(tr("The input is too large; allowed: {words}.", words=words), allowed=words)
    return parse_json(bytes(parts))


def parse_json(text: str | bytes) -> Any:
    """One JSON value as plain values; NaN and infinities are not JSON."""
    try:
        return json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError):
        raise UnreadableFile(tr("The input is not JSON; allowed: one JSON value."), allowed="JSON") from None


def _refuse(word: str) -> NoReturn:
    raise ValueError(word)
