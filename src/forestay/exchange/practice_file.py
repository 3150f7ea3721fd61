"""The file of a whole practice: a ZIP of parts, with a list of them and the SHA-256 of each."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from typing import Any

from forestay import __version__
from forestay.errors import InvalidInput, UnreadableFile
from forestay.text import tr

FORMAT = "forestay-practice"
CONTENTS, TABLE, CASES = "contents.json", "cases.csv", "cases/"
FIRST_TIME = (1980, 1, 1, 0, 0, 0)
"""All parts bear the same time, so that the same record gives the same bytes."""
LARGEST_UNPACKED = 2 * 1024**3
NAME_AT = 30
"""Where the name of the first part of a ZIP file begins."""


def write_parts(parts: Mapping[str, bytes], how: Mapping[str, Any]) -> bytes:
    """The parts in one file; ``how`` says what kind of export it is."""
    size = sum(map(len, parts.values()))
    if size > LARGEST_UNPACKED:
        raise _too_large(size)
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in parts.items()}
    told = {"format": FORMAT, "version": 1, "made_by": __version__, **how, "parts": digests}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in {CONTENTS: json.dumps(told, indent=1).encode(), **parts}.items():
            archive.writestr(zipfile.ZipInfo(name, FIRST_TIME), data, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


def _too_large(size: int) -> InvalidInput:
    allowed = tr("at most {most} bytes", most=LARGEST_UNPACKED)
    return InvalidInput(
        tr(
            "The export has {size} bytes; allowed: {allowed}. For more there is forestay backup.",
            size=size,
            allowed=allowed,
        ),
        field="file",
        value=size,
        allowed=allowed,
    )


def looks_like_practice(data: bytes) -> bool:
    """Whether this is a ZIP that an export of the practice wrote."""
    return data[:4] == b"PK\x03\x04" and data[NAME_AT : NAME_AT + len(CONTENTS)] == CONTENTS.encode()


def read_parts(data: bytes, name: str) -> dict[str, bytes]:
    """The parts of such a file, each as it was written."""
    damaged = UnreadableFile(
        tr("{name} is no whole export of a practice; a part is missing or was changed.", name=name),
        allowed=tr("what forestay export --all wrote"),
    )
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            size = sum(info.file_size for info in archive.infolist())
            if size > LARGEST_UNPACKED:
                raise _too_large(size)
            parts = {info.filename: archive.read(info) for info in archive.infolist()}
        told = json.loads(parts.pop(CONTENTS))
        whole = told["format"] == FORMAT and told["parts"] == {
            part: hashlib.sha256(held).hexdigest() for part, held in parts.items()
        }
    except InvalidInput:
        raise
    except Exception as bad:  # damaged bytes fail in many ways; all of them mean one thing
        raise damaged from bad
    if not whole:
        raise damaged
    return parts
