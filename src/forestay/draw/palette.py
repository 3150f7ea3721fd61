"""Colours of the drawings, and the contrast that they must keep.

Sea holds, rust is short or lost, amber is what the surgeon makes. No meaning rests on colour alone: shape, dash or a
word always says the same. ``PAPER`` is black on white. ``SCREEN`` names the colours of whatever theme the page has, so that
one drawing serves them all; the style sheet of the themes is written from the palettes here (``theme_sheet``).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

AA_TEXT = 4.5
"""Least contrast of text, WCAG 2.2 success criterion 1.4.3."""
AA_GRAPHIC = 3.0
"""Least contrast of a line that carries meaning, WCAG 2.2 success criterion 1.4.11."""
AAA_TEXT = 7.0
"""Contrast of text in the theatre theme, WCAG 2.2 success criterion 1.4.6."""


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
    edge: str
    """Border of what can be pressed."""

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
    edge="#7d776a",
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
    edge="#595959",
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
    edge="#857c69",
)
THEATRE = Palette(
    name="theatre",
    paper="#0a0907",
    card="#100f0c",
    ink="#e2d0ae",
    soft="#b3a588",
    line="#332f27",
    sea="#74b4c9",
    amber="#d9a04a",
    rust="#ea8b69",
    sclera="#12110e",
    iris="#1b1813",
    nucleus="#261e12",
    nucleus_ink="#d2b384",
    edge="#7d745f",
)
PALETTES = {p.name: p for p in (LIGHT, PAPER, DARK, THEATRE)}
THEMES = {p.name: p for p in (LIGHT, DARK, THEATRE)}
"""What a reader may choose for the screen."""


def _tokens(palette: Palette) -> dict[str, str]:
    return {f.name.replace("_", "-"): getattr(palette, f.name) for f in fields(palette) if f.name != "name"}


SCREEN = Palette(
    "screen", **{f.name: f"var(--{f.name.replace('_', '-')})" for f in fields(Palette) if f.name != "name"}
)
"""The colours of the theme of the page, by name."""


def theme_sheet() -> str:
    """The style sheet of all themes. Paper is black on white whatever the theme of the screen."""
    blocks = [_block(":root", LIGHT, "light")]
    blocks += [_block(f':root[data-theme="{p.name}"]', p, "dark") for p in (DARK, THEATRE)]
    printed = _block(":root,\n:root[data-theme]", PAPER, "light").replace("\n", "\n  ").rstrip(" ")
    return "/* Colours by meaning, from draw/palette.py: packaging/themes.py writes this file. */\n" + "".join(
        [*blocks, f"@media print {{\n  {printed}}}\n"]
    )


def _block(selector: str, palette: Palette, scheme: str) -> str:
    lines = [f"  color-scheme: {scheme};", *(f"  --{name}: {colour};" for name, colour in _tokens(palette).items())]
    return f"{selector} {{\n" + "\n".join(lines) + "\n}\n"


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
