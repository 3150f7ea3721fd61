"""A page of a few forms and tables: signing in, accounts, whom a case is about."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.shell import Link, View, told


@dataclass(frozen=True)
class Choice:
    """One thing that can be chosen."""

    value: str = field(metadata=told("what is sent"))
    words: str = field(metadata=told("what it says"))
    chosen: bool = field(default=False, metadata=told("True where it is chosen now"))


@dataclass(frozen=True)
class FieldOfForm:
    """One field with its label."""

    name: str = field(metadata=told("name under which it is sent"))
    label: str = field(metadata=told("what it asks for"))
    kind: str = field(default="text", metadata=told("text, lines, password, date, select, checkboxes, file, hidden"))
    value: str = field(default="", metadata=told("what stands in it"))
    complete: str = field(default="off", metadata=told("what a browser or a password manager may fill in"))
    hint: str = field(default="", metadata=told("what is allowed, shown below it"))
    choices: tuple[Choice, ...] = field(default=(), metadata=told("what can be chosen"))
    needed: bool = field(default=True, metadata=told("whether it must be filled in"))
    digits: bool = field(default=False, metadata=told("whether a keyboard of digits is enough"))


@dataclass(frozen=True)
class Button:
    """What a form can do."""

    words: str = field(metadata=told("what it says"))
    name: str = field(default="", metadata=told("name under which it is sent; empty for the only one"))
    value: str = field(default="", metadata=told("what it sends"))


@dataclass(frozen=True)
class Form:
    """One form with its heading."""

    key: str = field(metadata=told("identity of the form on the page"))
    title: str = field(metadata=told("heading"))
    action: str = field(metadata=told("where it is sent"))
    fields: tuple[FieldOfForm, ...] = field(metadata=told("fields in order"))
    buttons: tuple[Button, ...] = field(metadata=told("what it can do"))
    about: str = field(default="", metadata=told("a sentence below the heading"))


@dataclass(frozen=True)
class Rows:
    """A table of words."""

    caption: str = field(metadata=told("what it lists"))
    columns: tuple[str, ...] = field(metadata=told("headings"))
    rows: tuple[tuple[str, ...], ...] = field(metadata=told("cells, row by row"))
    addresses: tuple[str, ...] = field(
        default=(), metadata=told("where the first cell of each row leads; empty: nowhere")
    )


@dataclass(frozen=True)
class FormsView(View):
    """The whole page."""

    lead: tuple[str, ...] = field(metadata=told("sentences before the forms"))
    said: str = field(metadata=told("what was just done, or went wrong; empty where nothing was"))
    wrong: bool = field(metadata=told("True where it went wrong"))
    forms: tuple[Form, ...] = field(metadata=told("the forms"))
    tables: tuple[Rows, ...] = field(metadata=told("the tables"))
    ways: tuple[Link, ...] = field(metadata=told("where to go from here"))
