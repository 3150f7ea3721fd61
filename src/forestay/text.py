"""Text catalogues: every sentence that a person reads passes through :func:`tr`.

The source language is English and stands in the code or in rule files; translations are gettext catalogues under
``locale/``, read as the text files that they are, so that nothing has to be compiled. A sentence that has no
translation yet stands in English. The language is a context variable, so that two requests never disturb one another.
"""

from __future__ import annotations

import json
import string
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, lru_cache, wraps
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

from forestay.errors import InvalidInput

LOCALE = Path(__file__).parent / "locale"
SOURCE = "en"
NAMES = {SOURCE: "English", "fr": "Français"}
"""Languages by tag, each by its own name. One is offered where its catalogue is there."""
UNREAD = frozenset({"fr"})
"""Translations that no surgeon who works in that language has read."""
THOUSANDS = {"fr": "\u00a0"}
"""What parts thousands where a comma would be read as the decimal sign."""
_language: ContextVar[str] = ContextVar("forestay_language", default=SOURCE)
Given = ParamSpec("Given")
Answer = TypeVar("Answer")


def catalogue_file(tag: str) -> Path:
    """Where the translation into ``tag`` stands."""
    return LOCALE / tag / "LC_MESSAGES" / "forestay.po"


@cache
def languages() -> Mapping[str, str]:
    """The languages that are here: tag -> its own name, the source language first."""
    return {tag: name for tag, name in NAMES.items() if tag == SOURCE or catalogue_file(tag).is_file()}


@cache
def _catalogue(tag: str) -> Mapping[str, str]:
    if tag == SOURCE or tag not in languages():
        return {}
    return read_catalogue(catalogue_file(tag).read_text(encoding="utf-8"))


def read_catalogue(text: str) -> dict[str, str]:
    """Sentence -> translation, from the text of a catalogue; a sentence whose translation is empty is left out.

    >>> read_catalogue('msgid "a"\\nmsgstr "b"\\n\\nmsgid ""\\n"c "\\n"d"\\nmsgstr ""\\n"e"\\n\\nmsgid "f"\\nmsgstr ""\\n')
    {'a': 'b', 'c d': 'e'}
    """
    found: dict[str, str] = {}
    parts: dict[str, list[str]] = {"msgid": [], "msgstr": []}
    into = parts["msgid"]
    for line in [*text.splitlines(), 'msgid ""']:
        keyword, space, rest = line.partition(" ")
        if space and keyword in parts:
            if keyword == "msgid":
                sentence, translation = "".join(parts["msgid"]), "".join(parts["msgstr"])
                if sentence and translation:
                    found[sentence] = translation
                parts = {"msgid": [], "msgstr": []}
            into = parts[keyword]
            into.append(json.loads(rest))
        elif line.startswith('"'):
            into.append(json.loads(line))
    return found


def tr(message: str, **values: Any) -> str:
    """Translate ``message`` and fill its named places (``{name}``, with a format where given: ``{x:.2f}``)."""
    translated = _catalogue(_language.get()).get(message, message)
    if not values:
        return translated
    return translated.format(**values) if _language.get() not in THOUSANDS else Places().format(translated, **values)


def grouped(number: str) -> str:
    """``number``, whose thousands are parted by commas, as it is read here: where a comma is the decimal sign they are
    parted by a no-break space.

    >>> grouped("1,660")
    '1,660'
    """
    return number.replace(",", THOUSANDS.get(_language.get(), ","))


class Places(string.Formatter):
    """Fills the named places of a sentence; thousands are parted as the reader parts them."""

    def format_field(self, value: Any, format_spec: str) -> Any:
        """A value in its format; see :func:`grouped`."""
        made = super().format_field(value, format_spec)
        return grouped(made) if "," in format_spec else made


def mark(message: str) -> str:
    """``message`` as it is, gathered into the catalogue: for a table whose words pass through :func:`tr` when read."""
    return message


def language() -> str:
    """The language in use here, as a BCP 47 tag."""
    return _language.get()


def use_language(tag: str) -> None:
    """Use the language ``tag`` from here on, in this context: one request, one command."""
    _language.set(tag if tag in languages() else SOURCE)


def known_language(tag: str) -> str:
    """``tag`` where sentences are here in that language, else one clear error."""
    if tag not in languages():
        allowed = ", ".join(languages())
        raise InvalidInput(
            tr("language is {tag!r}; allowed: {allowed}.", tag=tag[:40], allowed=allowed),
            field="language",
            value=tag[:40],
            allowed=allowed,
        )
    return tag


@contextmanager
def speaking(tag: str) -> Iterator[None]:
    """Use the language ``tag`` inside the block."""
    token = _language.set(tag)
    try:
        yield
    finally:
        _language.reset(token)


def wanted(header: str, offered: Iterable[str]) -> str | None:
    """The best of ``offered`` for the header ``Accept-Language``; None where it wants none of them.

    >>> wanted("fr-CH, fr;q=0.9, en;q=0.8", ("en", "fr")), wanted("de, en;q=0.5, fr;q=0", ("en", "fr")), wanted("", ("en",))
    ('fr', 'en', None)
    """
    here = tuple(offered)
    best, weight = None, 0.0
    for entry in header.split(","):
        tag, _, quality = entry.partition(";")
        plain = tag.strip().lower().partition("-")[0]
        try:
            q = float(quality.strip().removeprefix("q=") or 1)
        except ValueError:
            continue
        if plain in here and q > weight:
            best, weight = plain, q
    return best


def translation_doubt() -> str:
    """What a reader of this translation has to know; empty where there is nothing to say."""
    if _language.get() not in UNREAD:
        return ""
    return tr(
        "No surgeon who works in this language has read this translation yet; in doubt, the English text decides."
    )


def once_per_language(function: Callable[Given, Answer]) -> Callable[Given, Answer]:
    """Keep the last answers of ``function``, which hold sentences, for each language apart."""

    @lru_cache(maxsize=256)
    def kept(tag: str, given: Hashable) -> Answer:
        del tag
        return cast(Callable[..., Answer], function)(*cast(tuple[Hashable, ...], given))

    @wraps(function)
    def ask(*given: Given.args, **named: Given.kwargs) -> Answer:
        return function(*given, **named) if named else kept(_language.get(), given)

    return ask


def spelled(keys: Iterable[str]) -> str:
    """Keys as words in a row, each in the reader's language where the catalogue has it.

    >>> spelled(("bag-follows", "iris_lens_gap"))
    'bag follows, iris lens gap'
    """
    return ", ".join(tr(key.replace("-", " ").replace("_", " ")) for key in keys)


def field_words(name: str) -> str:
    """A field of the case file in plain words, without section and unit.

    >>> field_words("biometry.endothelial_count_per_mm2"), field_words("corneal thickness")
    ('endothelial count', 'corneal thickness')
    """
    plain = name.rsplit(".", 1)[-1]
    for unit in ("_per_mm2", "_mmhg", "_mm", "_um", "_deg", "_d", "_years", "_kg", "_logmar"):
        plain = plain.removesuffix(unit)
    return tr(plain.replace("_", " "))
