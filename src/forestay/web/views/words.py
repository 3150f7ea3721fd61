"""Numbers as a page writes them: units always, a true minus sign, digits to the custom of the trade."""

from __future__ import annotations

from forestay.text import grouped, tr

MINUS = "−"
DIGITS = {"mm": 2, "D": 2, "mm²": 1, "µm": 0, "micrometres": 0, "per mm²": 0, "cells/mm²": 0}
"""Decimals by unit; other units get two."""


def number(value: float | None, unit: str = "") -> str:
    """A value with its unit: ``−0.50 D``, ``7.5 mm``, ``1,530 cells/mm²``.

    >>> number(-0.5, "D"), number(7.5, "mm"), number(1530.2, "cells/mm²"), number(None)
    ('−0.50 D', '7.5 mm', '1,530 cells/mm²', 'not known')
    """
    if value is None:
        return tr("not known")
    digits = DIGITS.get(unit, 2)
    text = f"{abs(value):,.{digits}f}"
    if unit != "D" and digits:
        text = text.rstrip("0").rstrip(".")
    sign = MINUS if value < 0 and text.strip("0.,") else ""
    return f"{sign}{grouped(text)} {tr(unit)}".strip()


def interval(low: float, high: float, unit: str = "") -> str:
    """From low to high: ``6.9 to 8.1 mm``.

    >>> interval(6.9, 8.1, "mm")
    '6.9 to 8.1 mm'
    """
    return tr("{low} to {high}", low=number(low, unit).removesuffix(f" {tr(unit)}"), high=number(high, unit))


def share(probability: float) -> str:
    """A probability as a percentage with sensible digits: ``6.2 %``, ``14 %``.

    >>> share(0.062), share(0.14), share(0.0004), share(0.0)
    ('6.2 %', '14 %', '0.04 %', '0 %')
    """
    percent = 100 * probability
    return f"{percent:.0f} %" if percent >= 10 else f"{percent:.1f} %" if percent >= 1 else f"{percent:.1g} %"
