"""The command as other programs call it: exit status, one JSON object on standard error, never a traceback."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.many import parse_json
from forestay.calc.table import CALCULATIONS
from forestay.cli.main import run, wants_json
from forestay.demo import NAMES, demo_bytes
from forestay.errors import ForestayError

ENVIRONMENT = {**os.environ, "COLUMNS": "100"}


def forestay(*arguments: str, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """The entry point of the command in this process: its streams as bytes and the status that it leaves with."""
    given, out, err = (io.TextIOWrapper(io.BytesIO(data), encoding="utf-8") for data in (stdin, b"", b""))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", ENVIRONMENT["COLUMNS"])
        for name, stream in (("stdin", given), ("stdout", out), ("stderr", err)):
            patch.setattr(sys, name, stream)
        with pytest.raises(SystemExit) as left:
            run(list(arguments))
    for stream in (out, err):
        stream.flush()
    said, wrong = out.buffer, err.buffer
    assert isinstance(said, io.BytesIO)
    assert isinstance(wrong, io.BytesIO)
    assert isinstance(left.value.code, int)
    return subprocess.CompletedProcess(arguments, left.value.code, said.getvalue(), wrong.getvalue())


def process(*arguments: str, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """The command as a program of its own."""
    return subprocess.run(
        [sys.executable, "-m", "forestay", *arguments], input=stdin, capture_output=True, check=False, env=ENVIRONMENT
    )


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    file = tmp_path / "trauma-gap.toml"
    file.write_bytes(demo_bytes("trauma-gap"))
    return file


def error(done: subprocess.CompletedProcess[bytes]) -> dict[str, Any]:
    """Standard error as the one JSON object that it must be."""
    assert b"Traceback" not in done.stderr
    body: dict[str, Any] = json.loads(done.stderr)
    assert set(body) == {"error"}
    assert set(body["error"]) == {"code", "field", "value", "allowed", "message"}
    return body["error"]


def sentence(done: subprocess.CompletedProcess[bytes]) -> str:
    """Standard error as the one line that it must be."""
    text = done.stderr.decode()
    assert "Traceback" not in text
    assert text.count("\n") == 1
    return text.strip()


@pytest.mark.parametrize("name", NAMES)
def test_plan_answers_for_every_demo(name: str, tmp_path: Path) -> None:
    file = tmp_path / f"{name}.toml"
    file.write_bytes(demo_bytes(name))
    start = process if name == "trauma-gap" else forestay
    readable, plain = start("plan", str(file)), start("plan", str(file), "--json")
    assert (readable.returncode, plain.returncode) == (0, 0)
    plan = json.loads(plain.stdout)
    text = readable.stdout.decode()
    assert plan["eye"]["side"].upper() in text
    assert text.index("Margins") < text.index("Steps")
    assert "not a medical device" in " ".join(text.split())


def test_plan_writes_the_sheet(demo: Path, tmp_path: Path) -> None:
    target = tmp_path / "sheet.pdf"
    assert forestay("plan", str(demo), "--pdf", str(target)).returncode == 0
    assert target.read_bytes().startswith(b"%PDF")


def test_a_plan_with_something_to_recheck_exits_1(demo: Path) -> None:
    demo.write_bytes(demo.read_bytes().replace(b"axial_length_mm = 23.66", b"axial_length_mm = 24.66"))
    done = process("plan", str(demo), "--json")
    assert done.returncode == 1
    assert json.loads(done.stdout)["decision"]["first"][0]["do"].startswith("recheck")
    assert forestay("check", str(demo)).returncode == 1


def test_a_refusal_exits_2_with_one_object(demo: Path) -> None:
    demo.write_bytes(demo.read_bytes().replace(b"k1_d = 42.50", b"k1_d = 59.50"))
    for command in ("plan", "check"):
        done = process(command, str(demo), "--json")
        assert done.returncode == 2
        assert error(done)["field"] == "biometry.k1_d"
        assert "biometry" not in sentence(forestay(command, str(demo)))


def test_check_lists_field_value_level_and_why(demo: Path) -> None:
    demo.write_bytes(demo.read_bytes().replace(b'"optical"', b'"ultrasound-contact"', 1))
    done = forestay("check", str(demo), "--json")
    assert done.returncode == 0
    findings = json.loads(done.stdout)
    assert {"field", "value", "level", "why"} <= set(findings[0])


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"\x00\x01\x02\xff", "not a text file"),
        (b"not toml at all [", "TOML"),
        (b"[person]\nage_years = 70\n", "eye"),
        (b"[person]\nage_years = 70\n[eye]\nside = 'left'\ncolour = 'blue'\n", "eye.colour"),
        (b"[person]\nage_years = 70\n[eye]\nside = 'left'\n[biometry]\nk1_d = 7.8\n", "radius in mm"),
        (b"[person]\nage_years = 70\n[eye]\nside = 'left'\n[biometry]\naxial_length_mm = 2.35\n", "centimetres"),
        (
            b"[person]\nage_years = 70\n[eye]\nside = 'left'\n[biometry]\naxial_length_mm = 43.5\nk1_d = 23.5\n",
            "swapped",
        ),
        (b"[person]\nage_years = nan\n[eye]\nside = 'left'\n", "age_years"),
    ],
)
def test_bad_files_are_one_sentence(content: bytes, says: str, tmp_path: Path) -> None:
    file = tmp_path / "case.toml"
    file.write_bytes(content)
    for command in ("plan", "check"):
        done = forestay(command, str(file))
        assert done.returncode == 2
        assert says in sentence(done)
        assert says in json.dumps(error(forestay(command, str(file), "--json")))


def test_a_file_that_is_not_there() -> None:
    assert "cannot be read" in sentence(forestay("plan", "/nowhere/case.toml"))
    assert error(forestay("calc", "nucleus", "/nowhere/input.json"))["code"] == "unreadable-file"


def test_calc_lists_and_describes() -> None:
    listed = forestay("calc", "--list").stdout.decode()
    assert all(name in listed for name in CALCULATIONS)
    schema = json.loads(forestay("calc", "nucleus", "--schema").stdout)
    assert "grade" in schema["input"]["properties"]


@pytest.mark.parametrize("name", list(CALCULATIONS))
def test_every_calculation_answers_its_example_in_the_envelope(name: str) -> None:
    answer = CALCULATIONS[name].run(CALCULATIONS[name].example).as_dict()
    assert set(answer) == {"calculation", "result", "doubts", "sources"}
    assert answer["calculation"] == name
    assert all({"code", "message"} == set(d) for d in answer["doubts"])
    assert all({"key", "citation", "standing"} <= set(s) for s in answer["sources"])
    json.dumps(answer, allow_nan=False)


def test_calc_takes_a_list_and_puts_errors_in_their_place() -> None:
    good = {"grade": 3}
    done = process("calc", "nucleus", stdin=json.dumps([good, {"grade": 9}, good]).encode())
    assert done.returncode == 0
    answers = json.loads(done.stdout)
    assert [set(a) for a in answers][1] == {"error"}
    assert answers[0] == answers[2]


def test_a_program_of_its_own_answers_an_error_alike() -> None:
    for arguments, stdin in ((("calc", "nucleus"), b"\xff\xfe"), (("plan", "/nowhere/case.toml"), b"")):
        alone, here = process(*arguments, stdin=stdin), forestay(*arguments, stdin=stdin)
        assert (alone.returncode, alone.stdout, alone.stderr) == (here.returncode, here.stdout, here.stderr)


@pytest.mark.parametrize(
    ("stdin", "code"),
    [
        (b"", "unreadable-file"),
        (b"{", "unreadable-file"),
        (b"3", "invalid-input"),
        (b'{"grade": NaN}', "unreadable-file"),
        (b'{"grade": 3, "grade": 4}', "unreadable-file"),
        (b"{}", "missing-input"),
        (b'{"grade": 3, "colour": 1}', "unknown-key"),
        (b'{"grade": true}', "invalid-input"),
        (b'{"grade": "3"}', "invalid-input"),
        (b"\xff\xfe", "unreadable-file"),
        (b"[" * 5000, "unreadable-file"),
    ],
)
def test_calc_errors_are_one_object(stdin: bytes, code: str) -> None:
    done = forestay("calc", "nucleus", stdin=stdin)
    assert done.returncode == 2
    assert error(done)["code"] == code


def test_unknown_words_of_the_command_line() -> None:
    assert error(forestay("calc", "guess"))["code"] == "not-found"
    assert "--help" in sentence(forestay("plan", "x", "--colour"))
    assert "--help" in sentence(process("dance"))


def test_json_is_wanted_of_calc_and_where_asked() -> None:
    assert wants_json(["calc", "nucleus"])
    assert wants_json(["plan", "x", "--json"])
    assert not wants_json(["plan", "calc"])


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.binary(max_size=80))
def test_any_bytes_are_json_or_one_error(data: bytes) -> None:
    with suppress(ForestayError):
        parse_json(data)
