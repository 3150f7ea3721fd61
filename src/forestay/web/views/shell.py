"""The base of every view, and what all pages share."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay import __version__
from forestay.services import actor as acting
from forestay.text import tr


def told(help: str) -> dict[str, str]:  # noqa: A002 - the word of the style rule
    """What stands with a field of a view: the sentence that says what it is."""
    return {"help": help}


@dataclass(frozen=True)
class Link:
    """A place to go."""

    words: str = field(metadata=told("what the link says"))
    address: str = field(metadata=told("where it leads"))
    here: bool = field(default=False, metadata=told("True on the page that it leads to"))


@dataclass(frozen=True)
class Shell:
    """The frame around every page."""

    title: str = field(metadata=told("title of the page, as in the window's bar"))
    links: tuple[Link, ...] = field(metadata=told("the few pages that every page links to"))
    version: str = field(metadata=told("version of the program"))


@dataclass(frozen=True)
class View:
    """Base of all views that fill a template."""

    shell: Shell = field(metadata=told("the frame around the page"))


def shell(title: str, here: str = "") -> Shell:
    """The frame of the page ``title``, which stands under the address ``here``."""
    places = [
        ("/", tr("Cases")),
        ("/day", tr("Theatre day")),
        ("/sort", tr("Many eyes")),
        *([("/import", tr("Import"))] if acting.may("enter") else []),
        ("/review", tr("Review")),
        ("/reference", tr("Calculations")),
        ("/evidence", tr("Evidence")),
        ("/settings", tr("Settings")),
    ]
    actor = acting.current()
    if actor is not None:
        places.append(("/account", actor.shown_as))
    return Shell(title, tuple(Link(words, to, to == here) for to, words in places), __version__)


def bare_shell(title: str) -> Shell:
    """The frame of a page for somebody who is not signed in: it leads nowhere yet."""
    return Shell(title, (), __version__)
