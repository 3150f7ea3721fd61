"""Whatever a file holds, reading it gives a situation or one clear error, never a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.case.case_file import LARGEST_BYTES, read_case, read_facts
from forestay.case.chain import accept
from forestay.case.lines import write
from forestay.demo import NAMES, demo_bytes
from forestay.errors import ForestayError, InvalidInput, MissingInput, NotFound, UnknownKey, UnreadableFile
from forestay.eye.situation import Situation
from tests.case.strategies import NOON

LEAST = b"[person]\nage_years = 70\n[eye]\nside = 'left'\n"
FUZZ = settings(deadline=None, derandomize=True, max_examples=300)


def exported() -> bytes:
    facts = read_facts(demo_bytes(NAMES[1]))
    return write("case", accept("case", facts, [], received_at=NOON, salt=bytes))


@pytest.mark.parametrize(
    ("data", "error", "words"),
    [
        (b"", UnreadableFile, "empty"),
        (b" \n\t\r\n", UnreadableFile, "empty"),
        (b"\x00\x01\x02binary", UnreadableFile, "not a text file"),
        (b"\x89PNG\r\n\x1a\n\xff\xfe", UnreadableFile, "not a text file"),
        (LEAST.decode().encode("utf-16"), UnreadableFile, "not a text file"),
        (b"%PDF-1.7 hello", UnreadableFile, "TOML"),
        (b"age;side\n70;left\n", UnreadableFile, "TOML"),
        (b"[eye\nside = 'left'", UnreadableFile, "TOML"),
        (LEAST + b"[biometry]\nk1_d = 43,25\n", UnreadableFile, "TOML"),
        (LEAST + b"[eye]\nside = 'right'\n", UnreadableFile, "TOML"),
        (b"a = " + b"[" * 100_000, UnreadableFile, "nested"),
        (b"a = 1" + b"0" * 5000, UnreadableFile, "TOML"),
        (b"{}", UnreadableFile, "not exported facts"),
        (b'{"person": {"age_years": 70}}', UnreadableFile, "not exported facts"),
        (b"{" * 100_000, UnreadableFile, "line 1"),
        (b"person = 3\n", MissingInput, "eye"),
        (b"person = 3\n[eye]\nside = 'left'", InvalidInput, "person is 3"),
        (b"[[person]]\nage_years = 70\n[eye]\nside = 'left'", InvalidInput, "person"),
        (b"[person]\n[eye]\nside = 'left'", MissingInput, "person.age_years"),
        (b"[person]\nage_years = 70", MissingInput, "eye"),
        (b"[person]\nage_years = 70\n[eye]", MissingInput, "eye.side"),
        (LEAST + b"[biometri]\nk1_d = 43.0", UnknownKey, "biometri"),
        (LEAST + b"[signs]\npseudoexfoliaton = true", UnknownKey, "signs.pseudoexfoliaton"),
        (LEAST + b"[biometry]\nk1_d = 7.8", InvalidInput, "radius in mm"),
        (LEAST + b"[biometry]\naxial_length_mm = 2.31", InvalidInput, "centimetres"),
        (LEAST + b"[biometry]\naxial_length_mm = 43.5", InvalidInput, "swapped"),
        (LEAST + b"[biometry]\ncorneal_thickness_um = 0.535", InvalidInput, "millimetres"),
        (LEAST + b"[biometry]\nk1_d = '43,25'", InvalidInput, "without quotes"),
        (LEAST + b"[biometry]\nk1_d = nan", InvalidInput, "biometry.k1_d"),
        (LEAST + b"[biometry]\nk1_d = 1" + b"0" * 400, InvalidInput, "biometry.k1_d"),
        (LEAST + b"[biometry]\nk1_d = 2026-03-01", InvalidInput, "biometry.k1_d"),
        (LEAST + b"[lens]\ngrade = true", InvalidInput, "lens.grade"),
        (LEAST + b"[signs]\ndialysis_clock_hours = [0]", InvalidInput, "dialysis_clock_hours"),
        (LEAST + b"visual_acuity = 'HM'\nvisual_acuity_logmar = 1.0", InvalidInput, "not both"),
    ],
)
def test_each_wrong_file_is_one_sentence(data: bytes, error: type[ForestayError], words: str) -> None:
    with pytest.raises(error, match=words.replace(".", r"\.")) as caught:
        read_case(data, "eye.toml")
    assert "\n" not in caught.value.message
    json.dumps(caught.value.as_dict(), allow_nan=False)


def test_the_message_names_the_file(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match=r"^eye\.toml is empty"):
        read_case(b"", "eye.toml")
    empty = tmp_path / "lefteye.toml"
    empty.touch()
    with pytest.raises(UnreadableFile, match=r"^lefteye\.toml is empty"):
        read_case(empty)


def test_files_that_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no file"):
        read_case(tmp_path / "absent.toml")
    with pytest.raises(UnreadableFile, match="folder"):
        read_case(tmp_path)
    with pytest.raises(UnreadableFile, match="cannot be opened"):
        read_case(Path("a\0b"))
    with pytest.raises(UnreadableFile, match="cannot be opened"):
        read_case(tmp_path / ("x" * 300))
    large = tmp_path / "large.toml"
    with large.open("wb") as file:
        file.truncate(LARGEST_BYTES + 1)
    with pytest.raises(UnreadableFile, match="too large"):
        read_case(large)


def test_a_byte_order_mark_and_windows_line_ends_are_no_trouble(tmp_path: Path) -> None:
    file = tmp_path / "eye.toml"
    file.write_bytes(b"\xef\xbb\xbf" + LEAST.replace(b"\n", b"\r\n"))
    assert read_case(file) == read_case(LEAST)
    assert read_case(b"\xef\xbb\xbf" + exported()) == read_case(exported())
    assert read_case(exported().replace(b"\n", b"\r\n")) == read_case(exported())


def test_exported_facts_give_the_same_situation_as_the_file() -> None:
    assert read_case(exported()) == read_case(demo_bytes(NAMES[1]))


def _reads_or_says_why(data: bytes) -> None:
    outcome: Situation | ForestayError
    try:
        outcome = read_case(data)
    except ForestayError as wrong:
        outcome = wrong
    if isinstance(outcome, ForestayError):
        assert outcome.message
        assert "\n" not in outcome.message
        json.dumps(outcome.as_dict(), allow_nan=False)


@FUZZ
@given(st.binary(max_size=200))
def test_any_bytes(data: bytes) -> None:
    _reads_or_says_why(data)


@FUZZ
@given(st.text(max_size=200))
def test_any_text(text: str) -> None:
    _reads_or_says_why(text.encode("utf-8", "surrogatepass"))


@st.composite
def damaged(draw: st.DrawFn, whole: bytes) -> bytes:
    data = bytearray(whole)
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(data)))
        data[at : at + draw(st.integers(0, 12))] = draw(
            st.one_of(
                st.binary(max_size=4), st.sampled_from([b"[", b'"', b"\n", b" = ", b"nan", b"-", b"1e999", b"{", b","])
            )
        )
    return bytes(data)


@FUZZ
@given(damaged(demo_bytes(NAMES[0])))
def test_a_damaged_case_file(data: bytes) -> None:
    _reads_or_says_why(data)


@FUZZ
@given(damaged(exported()))
def test_damaged_facts(data: bytes) -> None:
    _reads_or_says_why(data)
