"""Writes the style sheet of the themes from the palettes of the drawings, so that page and drawing never differ.

``python packaging/themes.py`` writes it; a test fails when the file in the tree is not current.
"""

from __future__ import annotations

from pathlib import Path

from forestay.draw.palette import theme_sheet

SHEET = Path(__file__).parent.parent / "frontend" / "styles" / "themes.css"

if __name__ == "__main__":
    SHEET.write_text(theme_sheet(), encoding="utf-8")
