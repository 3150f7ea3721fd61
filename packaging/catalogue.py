"""Gathers every sentence that a person may read into ``locale/forestay.pot``, without line numbers or dates.

``make catalogue`` runs it; a test fails when the catalogue in the tree is not current.
"""

from __future__ import annotations

import ast
import io
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir, extract_python
from babel.messages.frontend import parse_mapping_cfg
from babel.messages.pofile import write_po

HERE = Path(__file__).parent
PACKAGE = HERE.parent / "src" / "forestay"
POT = PACKAGE / "locale" / "forestay.pot"
KEYWORDS = {"tr": None, "_": None, "mark": None}

MACHINE = {
    "key", "techniques", "sources", "when", "has", "verdict", "anaesthetic", "prefer", "unless_stop", "technique",
    "field", "level", "source", "event", "set", "ask", "ladder", "into", "positions",
    "now", "ring", "lens", "steps", "keeps", "leaves_out", "unassessed", "spares", "figures", "ratio", "finding",
}  # fmt: skip
"""Keys of rule files that hold words for the program; every other text in a rule is read by a person."""

HEAD = """# Sentences of Forestay. Made by `make catalogue`; edit the code or the rules instead.
msgid ""
msgstr ""
"Content-Type: text/plain; charset=UTF-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""


def rules(file: IO[bytes], keywords: Any, tags: Any, options: Any) -> Iterator[tuple[int, str, str, list[str]]]:
    """Babel's extractor for rule files: the texts of all keys that a person reads."""
    del keywords, tags, options
    for sentence in _texts("", tomllib.loads(file.read().decode("utf-8"))):
        yield 0, "_", sentence, []


def fields(file: IO[bytes], keywords: Any, tags: Any, options: Any) -> Iterator[tuple[int, str, str, list[str]]]:
    """Babel's extractor for records: what passes through ``tr``, and what each field says of itself."""
    yield from extract_python(file, keywords, tags, options)
    file.seek(0)
    for node in ast.walk(ast.parse(file.read())):
        if isinstance(node, ast.keyword) and node.arg == "description" and isinstance(node.value, ast.Constant):
            yield 0, "_", str(node.value.value), []


def limits(file: IO[bytes], keywords: Any, tags: Any, options: Any) -> Iterator[tuple[int, str, str, list[str]]]:
    """Babel's extractor for the limits of what can be entered: what each quantity is, as a form says it; and for
    the published rates that are told to surgeon and patient: of what, and whose eyes they were."""
    del keywords, tags, options
    for row in tomllib.loads(file.read().decode("utf-8"))["row"]:
        if row["key"].startswith(("limit.", "series.", "series_ratio.")):
            yield 0, "_", row["meaning"], []
        if row["key"].startswith("series.") and row.get("population"):
            yield 0, "_", row["population"], []


def _texts(key: str, value: Any) -> Iterator[str]:
    if isinstance(value, str):
        if value and (key not in MACHINE or (key == "event" and " " in value)):
            yield value
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(key, inner)
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield from _texts(name, inner)


def sentences() -> Catalog:
    """Every sentence, each once."""
    with (HERE / "babel.cfg").open(encoding="utf-8") as config:
        methods, options = parse_mapping_cfg(config, "babel.cfg")
    catalog = Catalog(charset="utf-8")
    for _, _, message, comments, context in extract_from_dir(PACKAGE, methods, options, keywords=KEYWORDS):
        catalog.add(message, auto_comments=comments, context=context)
    return catalog


def text() -> str:
    """The catalogue as it stands in the file: sorted, so that it changes only where a sentence does."""
    out = io.BytesIO()
    write_po(out, sentences(), omit_header=True, no_location=True, sort_output=True, width=0)
    return HEAD + out.getvalue().decode("utf-8")


if __name__ == "__main__":
    POT.parent.mkdir(parents=True, exist_ok=True)
    POT.write_text(text(), encoding="utf-8")
    print(f"{POT.name}: {len(sentences())} sentences")
