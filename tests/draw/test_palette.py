"""Contrast, by the definition of WCAG 2.2 (w3.org/TR/WCAG22, "relative luminance" and "contrast ratio")."""

from __future__ import annotations

import dataclasses

import pytest

from forestay.draw.palette import AA_GRAPHIC, AA_TEXT, PALETTES, PAPER, Palette, contrast, luminance


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
