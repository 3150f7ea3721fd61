"""Writes SVG: escaped text, numbers of fixed digits, unique names; the same input gives the same bytes."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape

FONT = "Atkinson Hyperlegible Next, Atkinson Hyperlegible, sans-serif"
Point = tuple[float, float]


def number(value: float, digits: int = 2) -> str:
    """A coordinate with at most ``digits`` decimals, without trailing zeros or a minus before zero."""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{value:.0f}"
    return "0" if text in ("-0", "") else text


def element(tag: str, *children: str, **attributes: str | float | None) -> str:
    """An element. A name written with underscores is written with hyphens; ``None`` leaves an attribute out.

    ``children`` are markup already; put plain text through :func:`words` first.
    """
    written = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(value) if isinstance(value, str) else number(value)}"'
        for name, value in attributes.items()
        if value is not None
    )
    body = "".join(children)
    return f"<{tag}{written}>{body}</{tag}>" if body else f"<{tag}{written}/>"


def words(text: str) -> str:
    """Plain text, made safe inside an element."""
    return escape(text, quote=False)


def path(points: Iterable[Point], *, closed: bool = False) -> str:
    """The ``d`` of a path through the points."""
    steps = [f"{'L' if i else 'M'}{number(x)} {number(y)}" for i, (x, y) in enumerate(points)]
    return "".join(steps) + ("Z" if closed else "")


def label(text: str, x: float, y: float, *, size: float, fill: str, **attributes: str | float | None) -> str:
    """A line of text, upright, with the project's type."""
    return element("text", words(text), x=x, y=y, font_size=size, fill=fill, font_family=FONT, **attributes)


def identifier(*parts: str) -> str:
    """A name that may stand in ``id``: the parts joined, with anything else than letters, digits and hyphens dropped.

    >>> identifier("rope", "zonule: pole lift")
    'rope-zonule-pole-lift'
    """
    return "-".join(re.sub(r"[^A-Za-z0-9]+", "-", part).strip("-") for part in parts)


def picture(
    *body: str,
    width: float,
    height: float,
    title: str,
    description: str,
    name: str,
    interactive: bool = False,
    **attributes: str | float | None,
) -> str:
    """A whole ``<svg>`` with title and description joined by ``aria-labelledby``; a group where it holds controls."""
    return element(
        "svg",
        element("title", words(title), id=f"{name}-title"),
        element("desc", words(description), id=f"{name}-desc"),
        *body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="group" if interactive else "img",
        aria_labelledby=f"{name}-title {name}-desc",
        id=name,
        **attributes,
    )
