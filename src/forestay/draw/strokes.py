"""How each kind of line of the eye is drawn: told apart by dash and weight as well as by colour."""

from __future__ import annotations

HEAVY_LOAD = 1.5
"""From this many times a healthy eye's resting load a stay is drawn as overloaded."""
STAY_PX = 1.1
THINNEST_PX, THICKEST_PX = 0.6, 3.2

STROKES: dict[str, tuple[str, float, str | None]] = {
    "sclera": ("line", 1.0, None),
    "iris": ("line", 1.0, None),
    "limbus": ("soft", 1.3, None),
    "gap": ("rust", 2.2, "0.1 5"),
    "bag": ("ink", 1.4, None),
    "nucleus": ("nucleus_ink", 1.6, "7 4"),
    "ring": ("sea", 4.0, None),
    "capsulorhexis": ("amber", 3.0, None),
    "opening": ("ink", 1.5, None),
    "hook": ("ink", 2.2, None),
    "capsule-hook": ("ink", 1.4, "10 3"),
    "tunnel-side": ("amber", 1.3, "3 3"),
    "inner-lip": ("amber", 1.8, "9 3 2 3"),
    "outer-lip": ("amber", 3.4, None),
}
"""Colour, width [px] and dash of each kind of line: told apart by dash and weight as well as by colour."""


def stay_stroke(load: float) -> tuple[str, float]:
    """Colour and width [px] of a stay under ``load`` (a healthy eye at rest = 1)."""
    return ("rust" if load >= HEAVY_LOAD else "sea", min(THICKEST_PX, max(THINNEST_PX, STAY_PX * load)))
