"""Each translation is in step with the catalogue and loses no place of a sentence. Babel's own reader is the reference."""

from __future__ import annotations

import io
import re
import string
import sys
from collections import Counter
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from forestay.text import LOCALE, NAMES, SOURCE, catalogue_file, languages, read_catalogue
from tests.project.source import ROOT

FILES = sorted(LOCALE.glob("*/LC_MESSAGES/forestay.po"))


@pytest.fixture(scope="module")
def translations() -> Iterator[Any]:
    """The script that ``make catalogue`` runs on the translations."""
    sys.path.insert(0, str(ROOT / "packaging"))
    yield import_module("translations")
    sys.path.remove(str(ROOT / "packaging"))
    del sys.modules["translations"], sys.modules["catalogue"]


def pairs(file: Path) -> dict[str, str]:
    """Sentence -> translation, as Babel reads the file."""
    return {str(m.id): str(m.string) for m in read_po(io.BytesIO(file.read_bytes())) if m.id and m.string}


def places(sentence: str) -> Counter[tuple[str, str | None, str | None]]:
    """The named places of a sentence with their formats."""
    return Counter({p[1:]: 1 for p in string.Formatter().parse(sentence) if p[1] is not None})  # type: ignore[misc]


def test_every_language_that_is_named_has_its_file_and_every_file_its_name() -> None:
    assert {file.parents[1].name for file in FILES} == set(NAMES) - {SOURCE}
    assert list(languages()) == list(NAMES)


@pytest.mark.parametrize("tag", sorted(set(NAMES) - {SOURCE}))
def test_the_reader_of_catalogues_reads_what_babel_reads(tag: str) -> None:
    assert read_catalogue(catalogue_file(tag).read_text(encoding="utf-8")) == pairs(catalogue_file(tag))


WAITING = 0.01
"""Share of the sentences that may stand in English until their translator has seen them (`make catalogue` counts them)."""


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.parents[1].name)
def test_a_translation_leaves_nothing_in_english(file: Path, translations: Any) -> None:
    every = {str(m.id) for m in read_po(io.BytesIO(translations.catalogue.POT.read_bytes())) if m.id}
    known = pairs(file)
    waiting = sorted(every - set(known))
    assert len(waiting) <= WAITING * len(every), f"run `make catalogue` and translate: {waiting}"
    assert len(set(known) - every) <= WAITING * len(every), "run `make catalogue`"


def test_a_new_sentence_waits_empty_and_a_gone_one_takes_its_translation_with_it(
    tmp_path: Path, translations: Any
) -> None:
    file = tmp_path / "xx" / "LC_MESSAGES" / "forestay.po"
    file.parent.mkdir(parents=True)
    file.write_text('msgid "kept {n}"\nmsgstr "gardé {n}"\n\nmsgid "gone"\nmsgstr "parti"\n', encoding="utf-8")
    now = Catalog()
    for sentence in ("kept {n}", "new"):
        now.add(sentence)
    file.write_text(translations.in_step(file, now), encoding="utf-8")
    assert pairs(file) == {"kept {n}": "gardé {n}"}
    assert translations.untranslated(file) == ["new"]
    assert read_catalogue(file.read_text(encoding="utf-8")) == {"kept {n}": "gardé {n}"}


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.parents[1].name)
def test_a_translation_keeps_every_place_with_its_format(file: Path) -> None:
    braced = [(a, b) for a, b in pairs(file).items() if places(a) or "{" in b]
    assert [(a, b) for a, b in braced if places(a) != places(b)] == []


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.parents[1].name)
def test_a_translation_keeps_spaces_at_the_ends_and_lines(file: Path) -> None:
    def frame(text: str) -> tuple[bool, bool, int]:
        return text[:1].isspace() and text[:1] != "\u00a0", text[-1:].isspace(), text.count("\n")

    assert [(a, b) for a, b in pairs(file).items() if frame(a) != frame(b)] == []


def test_french_keeps_its_signs_together_with_their_words() -> None:
    french = pairs(catalogue_file("fr"))
    assert [
        b for b in french.values() if re.search(r"[^\u00a0\s][ ]?[;?!](?=\s|$)|[ ][:%»]|«[^\u00a0]", _plain(b))
    ] == []


def _plain(text: str) -> str:
    """The text without places and without signs that a no-break space already leads."""
    return re.sub(r"\u00a0[;:?!%»]", "", re.sub(r"\{[^}]*\}", "x", text))
