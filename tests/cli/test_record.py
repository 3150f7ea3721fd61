"""The commands for the record as a whole, as somebody at a terminal meets them."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from forestay.demo import demo_bytes
from tests.cli.test_commands import forestay


def process(folder: Path, *arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """The command as a program of its own, on the record of that folder."""
    environment = {**os.environ, "FORESTAY_DB": str(folder / "cases.sqlite"), **variables}
    return subprocess.run(
        [sys.executable, "-m", "forestay", *arguments],
        capture_output=True,
        text=True,
        check=False,
        env=environment,
        stdin=subprocess.DEVNULL,
        timeout=120,
    )


def run(folder: Path, *arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """The same by its entry point in this process, which spares it the start."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in {"FORESTAY_DB": str(folder / "cases.sqlite"), **variables}.items():
            patch.setenv(name, value)
        done = forestay(*arguments)
    return subprocess.CompletedProcess(arguments, done.returncode, done.stdout.decode(), done.stderr.decode())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("record")
    for name in ("trauma-gap", "white-swollen"):
        file = folder / f"{name}.toml"
        file.write_bytes(demo_bytes(name))
        assert run(folder, "import", str(file)).returncode == 0
    return folder


def test_a_record_is_checked_copied_brought_back_and_searched(folder: Path) -> None:
    whole = process(folder, "verify", "--heads", str(folder / "heads.json"))
    assert (whole.returncode, whole.stderr) == (0, "")
    assert "2 cases" in whole.stdout
    mark = whole.stdout.split("Mark of the whole record: ")[1].strip()
    assert len(bytes.fromhex(mark)) == 32
    assert "2 cases" in run(folder, "backup", str(folder / "backup.sqlite")).stdout
    assert json.loads(run(folder, "rebuild", "--json").stdout) == {"cases": 2}
    found = json.loads(run(folder, "find", "appearance=intumescent", "--json").stdout)
    assert [one["case"] for one in found] == ["white-swollen"]
    assert "No case" in run(folder, "find", "nothing-of-the-kind").stdout

    refused = run(folder, "erase", "trauma-gap", "--why", "asked for")
    assert refused.returncode == 2
    assert "--yes" in refused.stderr
    assert "facts erased" in run(folder, "erase", "trauma-gap", "--why", "asked for", "--yes").stdout
    assert run(folder, "verify", "--against", str(folder / "heads.json")).returncode == 0
    back = json.loads(run(folder, "restore", str(folder / "backup.sqlite"), "--json").stdout)
    assert back["erased_again"] == 1
    assert Path(back["set_aside"]).is_file()

    raw = sqlite3.connect(folder / "cases.sqlite")
    with raw:
        raw.execute("UPDATE fact SET body = salt WHERE case_number = 2 AND server_sequence = 2")
    raw.close()
    broken = run(folder, "verify", "--json")
    assert broken.returncode == 1
    told = json.loads(broken.stdout)
    assert told["mark"] == mark  # what was erased keeps its place; what was changed is a fault
    [fault] = told["faults"]
    assert (fault["case"], fault["position"], fault["fault"]) == ("white-swollen", 2, "changed")
    said = run(folder, "verify")
    assert said.returncode == 1
    assert "Fact 2" in said.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["restore", "absent"], "cannot be read"),
        (["verify", "--against", "absent"], "cannot be read"),
        (["erase", "absent", "--why", "x", "--yes"], "no case absent"),
        (["find", "grade>four"], "a number"),
        (["encrypt"], "FORESTAY_NEW_PASSPHRASE"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(tmp_path: Path, arguments: list[str], words: str) -> None:
    done = run(tmp_path, *arguments)
    assert done.returncode == 2
    assert words in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_an_encrypted_record_is_opened_by_its_passphrase(tmp_path: Path) -> None:
    (tmp_path / "c.toml").write_bytes(demo_bytes("trauma-gap"))
    assert run(tmp_path, "import", str(tmp_path / "c.toml")).returncode == 0
    phrase = "a long sentence that nobody says"
    assert "encrypted" in run(tmp_path, "encrypt", FORESTAY_NEW_PASSPHRASE=phrase).stdout
    locked = run(tmp_path, "verify", "--json")
    assert json.loads(locked.stderr)["error"]["code"] == "locked"
    assert process(tmp_path, "verify", FORESTAY_PASSPHRASE=phrase).returncode == 0
