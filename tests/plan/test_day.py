"""A theatre day from the plans of the invented cases, its paper, and the commands."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import pytest

from forestay.cli.main import run
from forestay.demo import NAMES, demo_bytes, devices_bytes
from forestay.evidence import default_evidence
from forestay.plan.day import DayEntry, DayHours, DayList, day_list
from forestay.plan.device_shelf import DeviceShelf, read_shelf
from forestay.report.day import day_data, day_pdf, readable_day
from tests.plan.cases import changed, planned, raw, situation

DAY = date(2026, 11, 27)
SHELF = read_shelf(devices_bytes())


@cache
def entries() -> tuple[DayEntry, ...]:
    return tuple(DayEntry(n, situation(raw(n)).case, planned(raw(n))) for n in NAMES)


def listed(shelf: DeviceShelf | None = SHELF, end: str | None = "12:30") -> DayList:
    return day_list(entries(), hours=DayHours("08:30", end), shelf=shelf, on=DAY, use=default_evidence().reader())


def test_the_hardest_eye_comes_first_and_the_one_to_wait_is_left_out() -> None:
    made = listed()
    assert made.day is not None
    assert made.day.rows[0].name == "brown-pseudoexfoliation"
    assert [x.name for x in made.left_out] == ["white-swollen"]
    assert "pressure" in made.left_out[0].why


def test_the_only_ring_and_the_expired_antibiotic_are_clashes() -> None:
    made = listed()
    assert made.day is not None
    said = [c.says for c in made.day.clashes]
    assert any("tension ring 11 mm: 1 there, 2 needed; too few for trauma-gap" in s for s in said)
    assert any("No cefuroxime that may be used on the day" in s for s in said)
    assert not any("vitrector" in s or "triamcinolone" in s for s in said), "what lies ready serves the whole list"


def test_without_a_shelf_nothing_is_called_missing() -> None:
    made = listed(shelf=None)
    assert made.day is not None
    assert not made.day.clashes
    assert "shelf-unknown" in {d.code for d in made.doubts}


def test_latex_goes_first_from_the_record() -> None:
    data = changed("hard-poor-endothelium", person__allergies=["latex"])
    own = (*entries()[:2], DayEntry("latex", situation(data).case, planned(data)))
    made = day_list(own, hours=DayHours(), shelf=None, on=DAY, use=default_evidence().reader())
    assert made.day is not None
    assert made.day.rows[0].name == "latex"


def test_nothing_to_do_is_an_answer() -> None:
    data = changed("trauma-gap", eye__visual_acuity_logmar=None, eye__visual_acuity="NPL")
    made = day_list(
        [DayEntry("dark", situation(data).case, planned(data))],
        hours=DayHours(),
        shelf=None,
        on=DAY,
        use=default_evidence().reader(),
    )
    assert made.day is None
    assert "No eye of these" in readable_day(made)
    assert day_pdf(made, invented=True, made_at=datetime(2026, 11, 27, 7, tzinfo=UTC)).startswith(b"%PDF")


def test_the_list_says_eye_time_kit_and_caution() -> None:
    text = readable_day(listed())
    for words in ("left eye", "right eye", "08:30", "tension ring 11 mm", "not a medical device", "house choice"):
        assert words in text


def test_the_paper_is_the_same_twice_and_marks_invented_cases() -> None:
    at = datetime(2026, 11, 27, 7, tzinfo=UTC)
    made = listed()
    assert day_pdf(made, invented=True, made_at=at) == day_pdf(made, invented=True, made_at=at)
    assert day_data(made, invented=True, made_at=at)["invented"] == "invented scenario"


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    names = []
    for name in ("trauma-gap", "hard-poor-endothelium"):
        path = tmp_path / f"{name}.toml"
        path.write_bytes(demo_bytes(name))
        names.append(str(path))
    (tmp_path / "devices.toml").write_bytes(devices_bytes())
    return names


def status(*arguments: str) -> int:
    with pytest.raises(SystemExit) as left:
        run(list(arguments))
    return int(left.value.code or 0)


def test_the_command_gives_list_json_and_pdf(
    files: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shelf, pdf = str(tmp_path / "devices.toml"), tmp_path / "day.pdf"
    assert status("day", *files, "--devices", shelf, "--on", "2026-11-27", "--json", "--pdf", str(pdf)) == 1
    answer = json.loads(capsys.readouterr().out)
    assert [r["name"] for r in answer["day"]["rows"]] == ["trauma-gap", "hard-poor-endothelium"]
    assert pdf.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--on", "tomorrow"], "write YYYY-MM-DD"),
        (["--start", "8"], "write HH:MM"),
        (["--anaesthetist", "09:00"], "HH:MM-HH:MM"),
    ],
)
def test_bad_arguments_are_one_sentence(
    files: list[str], arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status("day", *files, *arguments) == 2
    assert words in capsys.readouterr().err


def test_a_case_twice_is_refused(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert status("day", files[0], files[0]) == 2
    assert "stands twice" in capsys.readouterr().err


def test_the_sort_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "eyes.csv"
    table.write_text("eye,side,light,white\n101,left,full,yes\n102,right,none,no\n", encoding="utf-8")
    assert status("sort", str(table), "--vitrector", "--trays", "A,B") == 0
    text = capsys.readouterr().out
    assert "difficult 1" in text
    assert "no surgery 1" in text
    assert "101 left [A]" in text
    assert status("sort", str(table), "--json") == 0
    assert json.loads(capsys.readouterr().out)["result"]["counts"]["difficult"] == 1
