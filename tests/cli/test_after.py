"""The commands for what comes after the operation."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

from pypdf import PdfReader

from forestay.demo import demo_bytes
from tests.cli.test_record import run

CASE = "white-swollen"


def kept(folder: Path) -> None:
    """One kept case."""
    file = folder / f"{CASE}.toml"
    file.write_bytes(demo_bytes(CASE))
    assert run(folder, "import", str(file)).returncode == 0


def test_the_note_and_the_follow_up_of_a_kept_case(tmp_path: Path) -> None:
    kept(tmp_path)
    told = run(tmp_path, "note", CASE, "--pdf", str(tmp_path / "note.pdf"))
    assert (told.returncode, told.stderr) == (0, "")
    for words in ("Operation planned:", "No event was recorded.", "Not signed.", "not a medical device"):
        assert words in told.stdout
    paper = PdfReader(BytesIO((tmp_path / "note.pdf").read_bytes()))
    assert "Operation planned:" in paper.pages[0].extract_text()
    assert run(tmp_path, "note", "nobody").returncode == 2
    told = run(tmp_path, "follow", CASE, "--json")
    assert (told.returncode, told.stderr) == (0, "")
    answer = json.loads(told.stdout)
    assert answer["day"] is None
    assert {row["state"] for row in answer["due"]} == {"unknown"}
    assert all(row["source"] for row in answer["expected"])
