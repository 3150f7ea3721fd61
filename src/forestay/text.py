"""Text catalogues: every sentence that a person reads passes through :func:`tr`.

The source language is English and stands in the code or in rule files; translations are gettext catalogues under
``locale/``. The language is a context variable, so that two requests never disturb one another.
"""

from __future__ import annotations

import gettext
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import Any

LOCALE = Path(__file__).parent / "locale"
_language: ContextVar[str] = ContextVar("forestay_language", default="en")


@cache
def _catalogue(language: str) -> gettext.NullTranslations:
    return gettext.translation("forestay", LOCALE, languages=[language], fallback=True)


def tr(message: str, **values: Any) -> str:
    """Translate ``message`` and fill its named places (``{name}``, with a format where given: ``{x:.2f}``)."""
    translated = _catalogue(_language.get()).gettext(message) if message else ""
    return translated.format(**values) if values else translated


def language() -> str:
    """The language in use here, as a BCP 47 tag."""
    return _language.get()


@contextmanager
def speaking(tag: str) -> Iterator[None]:
    """Use the language ``tag`` inside the block."""
    token = _language.set(tag)
    try:
        yield
    finally:
        _language.reset(token)


def field_words(name: str) -> str:
    """A field of the case file in plain words, without section and unit.

    >>> field_words("biometry.endothelial_count_per_mm2"), field_words("corneal thickness")
    ('endothelial count', 'corneal thickness')
    """
    plain = name.rsplit(".", 1)[-1]
    for unit in ("_per_mm2", "_mmhg", "_mm", "_um", "_deg", "_d", "_years", "_kg", "_logmar"):
        plain = plain.removesuffix(unit)
    return plain.replace("_", " ")
