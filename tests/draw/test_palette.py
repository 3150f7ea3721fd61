"""Contrast, by the definition of WCAG 2.2 (w3.org/TR/WCAG22, "relative luminance" and "contrast ratio")."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from forestay.draw.palette import (
    AA_GRAPHIC,
    AA_TEXT,
    AAA_TEXT,
    PALETTES,
    PAPER,
    SCREEN,
    THEATRE,
    THEMES,
    Palette,
    contrast,
    luminance,
    theme_sheet,
)

SHEET = Path(__file__).parents[2] / "frontend" / "styles" / "themes.css"


def test_contrast_of_known_pairs() -> None:
    # WCAG 2.2 definition: white on black is 21:1. #767676 on white is the usual worked example of just 4.5:1 (4.54).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-12)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#0b6a88", "#0b6a88") == 1.0


def test_luminance_of_the_primaries() -> None:
    # The coefficients of the definition itself.
    assert luminance("#ff0000") == pytest.approx(0.2126)
    assert luminance("#00ff00") == pytest.approx(0.7152)
    assert luminance("#0000ff") == pytest.approx(0.0722)


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_every_text_reaches_aa(palette: Palette) -> None:
    poor = [(name, round(contrast(a, b), 2)) for name, a, b in palette.text_pairs() if contrast(a, b) < AA_TEXT]
    assert not poor


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_every_meaningful_line_reaches_aa(palette: Palette) -> None:
    poor = [(name, round(contrast(a, b), 2)) for name, a, b in palette.line_pairs() if contrast(a, b) < AA_GRAPHIC]
    assert not poor


def test_paper_has_no_colour() -> None:
    colours = [v for k, v in dataclasses.asdict(PAPER).items() if k != "name"]
    assert all(c[1:3] == c[3:5] == c[5:7] for c in colours)


def test_the_theatre_theme_reaches_seven_to_one_and_gives_little_light() -> None:
    # WCAG 2.2 success criterion 1.4.6 (AAA) asks 7:1 of text; the house asks it of the theatre theme.
    poor = [(name, round(contrast(a, b), 2)) for name, a, b in THEATRE.text_pairs() if contrast(a, b) < AAA_TEXT]
    assert not poor
    assert max(luminance(ground) for ground in (THEATRE.paper, THEATRE.card, THEATRE.iris, THEATRE.nucleus)) < 0.02


@pytest.mark.parametrize("palette", THEMES.values(), ids=lambda p: p.name)
def test_the_border_of_what_can_be_pressed_stands_out(palette: Palette) -> None:
    # WCAG 2.2 success criterion 1.4.11: 3:1 against what lies beside it.
    assert min(contrast(palette.edge, ground) for ground in (palette.card, palette.paper)) >= AA_GRAPHIC


def test_page_and_drawing_take_their_colours_from_one_source() -> None:
    sheet = SHEET.read_text(encoding="utf-8")
    assert sheet == theme_sheet()
    for name, colour in dataclasses.asdict(SCREEN).items():
        if name != "name":
            assert sheet.count(f"--{colour.removeprefix('var(--').removesuffix(')')}: ") == len(PALETTES)
