"""What the packaging hook built: hashed names, own fonts with their licence, nothing fetched from elsewhere."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from forestay.web.render import AssetsMissing, manifest
from forestay.web.settings import STATIC

BUILT = STATIC / "built"
ROOT = Path(__file__).parents[2]


def test_the_manifest_names_files_that_carry_a_hash() -> None:
    named = manifest(STATIC)
    assert set(named) == {"forestay.js", "style.css", "worker.js"}
    for name in named.values():
        assert re.fullmatch(r"[a-z]+-[A-Z0-9]{8}\.(js|css)", name)
        assert (BUILT / name).stat().st_size > 0


def test_the_style_asks_only_for_built_files() -> None:
    style = (BUILT / manifest(STATIC)["style.css"]).read_text(encoding="utf-8")
    asked = re.findall(r'url\("?([^")]+)"?\)', style)
    assert asked
    assert all((BUILT / address).is_file() for address in asked)
    assert "@import" not in style


def test_the_fonts_for_paper_lie_beside_their_licence() -> None:
    for style in ("Regular", "Bold", "Italic"):
        head = (BUILT / "fonts" / f"AtkinsonHyperlegibleNext-{style}.ttf").read_bytes()[:4]
        assert head == b"\x00\x01\x00\x00"  # the mark of a TrueType file, OpenType specification
    assert "SIL OPEN FONT LICENSE" in (BUILT / "fonts" / "OFL.txt").read_text(encoding="utf-8")
    assert "BSD" in (BUILT / "licences" / "htmx.txt").read_text(encoding="utf-8")


def test_the_browser_code_evaluates_no_text_of_ours() -> None:
    for file in (ROOT / "frontend" / "src").glob("*.ts"):
        assert not re.search(r"\beval\(|new Function|innerHTML", file.read_text(encoding="utf-8"))


def test_the_lock_of_the_browser_code_names_no_address() -> None:
    lock = json.loads((ROOT / "frontend" / "package-lock.json").read_text(encoding="utf-8"))
    packages = [package for name, package in lock["packages"].items() if name]
    assert packages
    assert all("integrity" in package and "resolved" not in package for package in packages)


def test_a_missing_build_is_said_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(AssetsMissing, match="not built"):
        manifest(tmp_path)
