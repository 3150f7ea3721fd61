"""The commands that bring data in and out, as somebody at a terminal meets them; what they do is tested in the rooms below."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.test_record import run
from tests.exchange.table_examples import MAPPING, ROWS, as_csv


def test_a_table_is_looked_at_refused_whole_and_never_half_kept(tmp_path: Path) -> None:
    bad, mapping = tmp_path / "bad.csv", tmp_path / "map.toml"
    bad.write_bytes(as_csv([ROWS[0], [*ROWS[1][:5], "240,0", *ROWS[1][6:]]]))
    mapping.write_text(MAPPING)
    look = run(tmp_path, "import", str(bad), "--mapping", str(mapping), "--preview")
    assert look.returncode == 1
    assert "3 T-2 refused: Length: biometry.axial_length_mm" in look.stdout
    refused = run(tmp_path, "import", str(bad), "--mapping", str(mapping), "--json")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert json.loads(refused.stderr)["error"]["field"] == "line 3"


def test_a_watched_folder_is_looked_at_once(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "x.dcm").write_bytes(b"no object")
    done = run(tmp_path, "watch", str(folder), "--once")
    assert (done.returncode, done.stderr) == (0, "")
    assert "x.dcm refused" in done.stdout
    assert (folder / "refused" / "x.dcm.reason.txt").is_file()
