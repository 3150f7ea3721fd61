"""JSON as the record keeps it: one canonical way to write, and a strict way to read."""

from __future__ import annotations

import json
from typing import Any

from forestay.errors import UnreadableFile
from forestay.text import tr


def canonical(value: Any) -> bytes:
    """``value`` as JSON bytes in the one form that is hashed: keys sorted, no spaces, UTF-8.

    For words, whole numbers, lists and tables this is the canonical form of RFC 8785.

    >>> canonical({"b": 1, "a": "é"})
    b'{"a":"\\xc3\\xa9","b":1}'
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key, value in pairs:
        if key in table:
            raise ValueError(tr("the key {key} stands twice", key=repr(key[:80])))
        table[key] = value
    return table


def _not_a_number(word: str) -> Any:
    raise ValueError(tr("{word} is not a number of JSON", word=word))


def parse(data: bytes | str, *, what: str) -> Any:
    """The JSON value in ``data``; a key that stands twice, NaN and broken text are refused, naming ``what``."""
    try:
        text = data.decode() if isinstance(data, bytes) else data
        text.encode()
        value: Any = json.loads(text, object_pairs_hook=_once, parse_constant=_not_a_number)
        _encodable(value)
    except RecursionError:
        raise UnreadableFile(tr("{what} cannot be read: nested too deeply.", what=what), field=what) from None
    except ValueError as wrong:
        reason = tr("it is not UTF-8 text") if isinstance(wrong, UnicodeError) else _first_line(str(wrong))
        raise UnreadableFile(tr("{what} cannot be read: {reason}.", what=what, reason=reason), field=what) from None
    return value


def _encodable(value: Any) -> None:
    """Half a character, written as an escape, is no text and cannot be kept."""
    if isinstance(value, str):
        value.encode()
    elif isinstance(value, dict):
        for key, inner in value.items():
            key.encode()
            _encodable(inner)
    elif isinstance(value, list):
        for inner in value:
            _encodable(inner)


def _first_line(message: str) -> str:
    return message.splitlines()[0][:160] if message else tr("no reason given")
