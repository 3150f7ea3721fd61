"""Colours of the drawings, and the contrast that they must keep.

Sea holds, rust is short or lost, amber is what the surgeon makes. No meaning rests on colour alone: shape, dash or a
word always says the same. ``PAPER`` is black on white.
"""

from __future__ import annotations

from dataclasses import dataclass

AA_TEXT = 4.5
"""Least contrast of text, WCAG 2.2 success criterion 1.4.3."""
AA_GRAPHIC = 3.0
"""Least contrast of a line that carries meaning, WCAG 2.2 success criterion 1.4.11."""


@dataclass(frozen=True)
class Palette:
    """One set of colours. ``ground`` lies under a drawing, ``sclera`` to ``nucleus`` are fills of parts of the eye."""

    name: str
    paper: str
    card: str
    ink: str
    soft: str
    line: str
    sea: str
    amber: str
    rust: str
    sclera: str
    iris: str
    nucleus: str
    nucleus_ink: str

    def text_pairs(self) -> tuple[tuple[str, str, str], ...]:
        """Every text colour with every ground that it is written on: ``(name, text, ground)``."""
        grounds = {"paper": self.paper, "card": self.card, "sclera": self.sclera}
        texts = {"ink": self.ink, "soft": self.soft, "sea": self.sea, "amber": self.amber, "rust": self.rust}
        pairs = [(f"{t} on {g}", text, ground) for g, ground in grounds.items() for t, text in texts.items()]
        pairs.append(("nucleus_ink on nucleus", self.nucleus_ink, self.nucleus))
        pairs.append(("nucleus_ink on card", self.nucleus_ink, self.card))
        pairs.append(("ink on nucleus", self.ink, self.nucleus))
        pairs.append(("ink on iris", self.ink, self.iris))
        return tuple(pairs)

    def line_pairs(self) -> tuple[tuple[str, str, str], ...]:
        """Every line that carries meaning with every fill that it may cross: ``(name, line, ground)``."""
        grounds = {"card": self.card, "sclera": self.sclera, "iris": self.iris, "nucleus": self.nucleus}
        lines = {"ink": self.ink, "sea": self.sea, "amber": self.amber, "rust": self.rust}
        return tuple((f"{n} on {g}", line, ground) for g, ground in grounds.items() for n, line in lines.items())


LIGHT = Palette(
    name="light",
    paper="#f6f4ef",
    card="#fffdf9",
    ink="#16242e",
    soft="#5b6b75",
    line="#d9d5cb",
    sea="#0b6a88",
    amber="#9a5b00",
    rust="#b3361b",
    sclera="#faf7f0",
    iris="#efe8da",
    nucleus="#eadbc4",
    nucleus_ink="#6f4e22",
)
PAPER = Palette(
    name="paper",
    paper="#ffffff",
    card="#ffffff",
    ink="#000000",
    soft="#404040",
    line="#b5b5b5",
    sea="#000000",
    amber="#000000",
    rust="#000000",
    sclera="#ffffff",
    iris="#ffffff",
    nucleus="#ffffff",
    nucleus_ink="#000000",
)
DARK = Palette(
    name="dark",
    paper="#0e0d0b",
    card="#171612",
    ink="#f0dfc0",
    soft="#b3a78f",
    line="#3a372f",
    sea="#6fb7cf",
    amber="#e0a64a",
    rust="#f08a66",
    sclera="#1a1814",
    iris="#25211a",
    nucleus="#33291a",
    nucleus_ink="#d9b98a",
)
PALETTES = {p.name: p for p in (LIGHT, PAPER, DARK)}


def luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb``, 0 to 1, as WCAG 2.2 defines it.

    >>> luminance("#000000"), luminance("#ffffff")
    (0.0, 1.0)
    """
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21, as WCAG 2.2 defines it.

    >>> contrast("#000000", "#ffffff")
    21.0
    """
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)
