"""The catalogue of sentences is current, so that a translator sees what a reader sees."""

from __future__ import annotations

import io
import string
import sys
from importlib.util import module_from_spec, spec_from_file_location
from typing import Any

import pytest

from tests.project.source import ROOT


@pytest.fixture(scope="module")
def catalogue() -> Any:
    """The script that ``make catalogue`` runs."""
    spec = spec_from_file_location("catalogue", ROOT / "packaging" / "catalogue.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    sys.modules["catalogue"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["catalogue"]


def test_the_catalogue_in_the_tree_is_current(catalogue: Any) -> None:
    assert catalogue.POT.read_text(encoding="utf-8") == catalogue.text(), "run: make catalogue"


def test_it_holds_sentences_of_code_templates_and_rules(catalogue: Any) -> None:
    found = {message.id for message in catalogue.sentences()}
    assert "{field} is missing; it is needed here." in found
    assert "Skip to the content" in found
    assert "put a one-piece soft lens into the sulcus" in found


def test_it_holds_neither_line_numbers_nor_dates(catalogue: Any) -> None:
    text = catalogue.text()
    assert "\n#: " not in text
    assert "Date" not in text.split("\n\n")[0]


def test_the_extractor_of_rules_leaves_the_words_of_the_program(catalogue: Any) -> None:
    file = io.BytesIO(b'[[stop]]\nkey = "a"\nwhen = ["x = y"]\nwhy = "because"\nkit = ["dye"]\nsources = ["b"]\n')
    assert [found[2] for found in catalogue.rules(file, None, None, None)] == ["because", "dye"]


def test_every_place_in_a_sentence_is_named(catalogue: Any) -> None:
    unnamed = []
    for message in catalogue.sentences():
        if "python-brace-format" in message.flags:
            places = [name for _, name, _, _ in string.Formatter().parse(message.id) if name is not None]
            if any(not name or name.isdigit() for name in places):
                unnamed.append(message.id)
    assert unnamed == []
