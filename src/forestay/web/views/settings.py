"""The page of the settings: what the practice says of itself, section by section, and every change of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.forms_page import Form, Rows
from forestay.web.views.shell import Link, View, told


@dataclass(frozen=True)
class SettingsSection:
    """One part of the settings."""

    key: str = field(metadata=told("identity of the section on the page"))
    title: str = field(metadata=told("heading"))
    about: tuple[str, ...] = field(metadata=told("sentences: what it is for, where it comes from"))
    table: Rows | None = field(metadata=told("what is kept; None where nothing is"))
    ways: tuple[Link, ...] = field(metadata=told("where it is changed; empty for whoever may not"))


@dataclass(frozen=True)
class SettingsView(View):
    """The whole page."""

    lead: tuple[str, ...] = field(metadata=told("sentences before the sections"))
    said: str = field(metadata=told("what was just done, or went wrong; empty where nothing was"))
    wrong: bool = field(metadata=told("True where it went wrong"))
    sections: tuple[SettingsSection, ...] = field(metadata=told("the parts, in order"))
    forms: tuple[Form, ...] = field(metadata=told("the form that takes in a file"))
    tables: tuple[Rows, ...] = field(metadata=told("every change"))
