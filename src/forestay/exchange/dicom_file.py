"""From bytes to DICOM objects: one object, or several in a ZIP file. Whatever is damaged is one clear error."""

from __future__ import annotations

import io
import logging
import warnings
import zipfile
import zlib
from typing import Any

from forestay.errors import UnreadableFile
from forestay.exchange.dicom_walk import check_whole
from forestay.text import tr

LARGEST_BYTES = 64 * 1024 * 1024
MOST_OBJECTS = 50
PLAIN_SYNTAXES = ("1.2.840.10008.1.2", "1.2.840.10008.1.2.1", "1.2.840.10008.1.2.2")
"""Implicit and explicit little endian, explicit big endian: all that measurements are sent in."""
DEFLATED = b"1.2.840.10008.1.2.1.99"
"""Packed objects are refused before anything unpacks them, since a small file can hold any amount."""


def looks_like_dicom(data: bytes) -> bool:
    """Whether this is meant as a DICOM object, or as a ZIP file of them."""
    return data[128:132] == b"DICM" or data[:4] == b"PK\x03\x04"


def read_objects(data: bytes, name: str) -> list[Any]:
    """The data sets in ``data``, each read to its last element."""
    if data[:4] != b"PK\x03\x04":
        return [_object(data, name)]
    found = [_object(inner, f"{name}: {called}") for called, inner in _unzipped(data, name) if looks_like_dicom(inner)]
    if not found:
        raise UnreadableFile(tr("{name} holds no DICOM object.", name=name), allowed=tr("DICOM objects in a ZIP file"))
    return found


def _unzipped(data: bytes, name: str) -> list[tuple[str, bytes]]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            inside = [info for info in archive.infolist() if not info.is_dir()]
            if len(inside) > MOST_OBJECTS or sum(info.file_size for info in inside) > LARGEST_BYTES:
                raise UnreadableFile(
                    tr("{name} holds too much.", name=name), allowed=tr("at most {n} objects", n=MOST_OBJECTS)
                )
            return [(info.filename[:80], archive.read(info)) for info in inside]
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, OSError, ValueError, EOFError) as bad:
        raise UnreadableFile(
            tr("{name} cannot be read as a ZIP file; it is damaged, or locked.", name=name),
            allowed=tr("a whole ZIP file"),
        ) from bad


def _object(data: bytes, name: str) -> Any:
    from pydicom import dcmread

    damaged = UnreadableFile(
        tr("{name} cannot be read as a DICOM object; it is damaged, cut short or packed.", name=name),
        allowed=tr("a whole DICOM object, not packed"),
    )
    if DEFLATED in data:
        raise damaged
    logging.getLogger("pydicom").disabled = True  # its warnings quote what stands in the object, names too
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what matters is checked value by value
        try:
            whole = dcmread(io.BytesIO(data))
            for element in whole.iterall():
                _ = element.value
            syntax = str(whole.file_meta.get("TransferSyntaxUID"))
            if syntax in PLAIN_SYNTAXES:
                check_whole(data, syntax)
        except Exception as bad:  # the library fails in many ways on damaged bytes; all of them mean one thing
            raise damaged from bad
    if syntax not in PLAIN_SYNTAXES:
        raise damaged
    return whole
