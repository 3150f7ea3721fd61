"""A case from a file: what a person writes (TOML), or exported facts. Whatever is wrong is one sentence."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from forestay.case.fact import Fact
from forestay.case.fold import fold
from forestay.case.from_file import facts_from_case
from forestay.case.lines import looks_like_facts, read
from forestay.errors import NotFound, UnreadableFile
from forestay.eye.records import CaseFile
from forestay.eye.situation import Situation
from forestay.eye.validation import validate
from forestay.text import tr

LARGEST_BYTES = 64 * 1024 * 1024
"""Beyond this nobody wrote the file by hand, and no single case fills it."""


def read_case(source: Path | bytes, name: str = "") -> Situation:
    """The situation that a case file or exported facts give. ``name`` is what messages call the file."""
    return fold(read_facts(source, name))


def read_facts(source: Path | bytes, name: str = "") -> list[Fact]:
    """The facts in a file of either form."""
    data, called = load(source, name)
    if looks_like_facts(decode(data, called)):
        return read(data).facts
    return facts_from_case(parse_case(data, called))


def parse_case(data: bytes, name: str = "") -> CaseFile:
    """A case file (TOML) as records."""
    called = name or tr("the case file")
    text = decode(data, called)
    try:
        raw: dict[str, Any] = tomllib.loads(text)
    except RecursionError:
        raise UnreadableFile(tr("{name} cannot be read: nested too deeply.", name=called)) from None
    except ValueError as wrong:
        reason = str(wrong).splitlines()[0][:160]
        if not isinstance(wrong, tomllib.TOMLDecodeError):  # a whole number too long for Python to read
            reason = tr("a number has too many digits")
        raise UnreadableFile(
            tr(
                "{name} cannot be read as TOML: {reason}. Write tables as [eye] and values as key = value.",
                name=called,
                reason=reason,
            ),
            allowed="TOML",
        ) from None
    return validate(CaseFile, raw)


def load(source: Path | bytes, name: str = "") -> tuple[bytes, str]:
    """The bytes of a file and what to call it in a message."""
    if isinstance(source, bytes):
        return source, name or tr("the case file")
    called = name or source.name or str(source)
    try:
        if source.stat().st_size > LARGEST_BYTES and source.is_file():
            raise UnreadableFile(tr("{name} is too large to be a case.", name=called))
        return source.read_bytes(), called
    except FileNotFoundError:
        raise NotFound(tr("There is no file {name}.", name=called), field="file", value=called) from None
    except IsADirectoryError:
        raise UnreadableFile(tr("{name} is a folder, not a file.", name=called), field="file", value=called) from None
    except (OSError, ValueError) as wrong:
        reason = getattr(wrong, "strerror", None) or tr("not a usable name")
        raise UnreadableFile(
            tr("{name} cannot be opened: {reason}.", name=called, reason=reason), field="file", value=called
        ) from None


def decode(data: bytes, name: str) -> str:
    """The text of a file; an empty one and one that is not text are refused."""
    if not data.strip():
        raise UnreadableFile(tr("{name} is empty.", name=name), allowed=tr("a case file or exported facts"))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise UnreadableFile(
            tr("{name} is not a text file in UTF-8.", name=name), allowed=tr("a case file or exported facts")
        )
    return text
