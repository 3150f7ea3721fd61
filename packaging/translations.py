"""Keeps the translations under ``locale/`` in step with the catalogue: each sentence once, in the catalogue's order.

A sentence that is new stands with an empty translation, and the program shows it in English until it has one; a
sentence that is gone takes its translation with it. ``make catalogue`` runs it after ``catalogue.py``.
"""

from __future__ import annotations

import io
from pathlib import Path

import catalogue
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

LOCALE = catalogue.POT.parent

HEAD = """# Forestay in {name}. Write translations here; `make catalogue` keeps the sentences in step with the code.
msgid ""
msgstr ""
"Language: {tag}\\n"
"Content-Type: text/plain; charset=UTF-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""


def files() -> list[Path]:
    """The translations that are here."""
    return sorted(LOCALE.glob("*/LC_MESSAGES/forestay.po"))


def tag_of(file: Path) -> str:
    """The language of a translation, from its folder."""
    return file.parents[1].name


def in_step(file: Path, sentences: Catalog) -> str:
    """The text of that translation with exactly these sentences."""
    known = read_po(io.BytesIO(file.read_bytes()))
    now = Catalog(charset="utf-8")
    for message in sentences:
        if message.id:
            old = known.get(message.id)
            now.add(message.id, old.string if old else "", flags=message.flags)
    out = io.BytesIO()
    write_po(out, now, omit_header=True, no_location=True, sort_output=True, width=0)
    return HEAD.format(tag=tag_of(file), name=tag_of(file)) + out.getvalue().decode("utf-8")


def untranslated(file: Path) -> list[str]:
    """The sentences that still stand in English there."""
    return [str(message.id) for message in read_po(io.BytesIO(file.read_bytes())) if message.id and not message.string]


if __name__ == "__main__":
    every = catalogue.sentences()
    for translation in files():
        translation.write_text(in_step(translation, every), encoding="utf-8")
        print(f"{tag_of(translation)}: {len(untranslated(translation))} of {len(every)} sentences are not translated")
