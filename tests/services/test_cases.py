"""What may be done with kept cases, and that a repeat never does it twice."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from uuid import UUID, uuid5

import pytest
import typer
from typer.testing import CliRunner

from forestay.case.case_file import read_case
from forestay.case.chain import verify
from forestay.cli.exchange import register
from forestay.demo import NAMES, demo_bytes
from forestay.errors import ConflictingFact, ForestayError, InvalidInput, NotFound, UnreadableFile
from forestay.exchange.jsonlines import Imported
from forestay.services.cases import (
    INVENTED,
    Who,
    case_ids,
    decide,
    export_case,
    import_case,
    kept_case,
    open_store,
    situation,
    take_back,
)
from forestay.store.interface import FactStore
from forestay.store.memory import MemoryFactStore
from tests.case.strategies import NOON

ME = Who(author="a1", device="page")
KEY, OTHER_KEY = UUID(int=11), UUID(int=12)


@pytest.fixture
def store() -> FactStore:
    kept = MemoryFactStore()
    import_case(kept, demo_bytes(NAMES[1]), case_id="M-1", happened_at=NOON)
    return kept


def test_a_case_file_is_kept_as_facts_and_plans_the_same(store: FactStore) -> None:
    assert case_ids(store) == ["M-1"]
    assert situation(store, "M-1") == read_case(demo_bytes(NAMES[1]))
    kept = kept_case(store, "M-1")
    assert (kept.head, len(kept.facts), len(kept.thread), kept.invented) == (14, 14, 14, False)
    assert kept.last_kept is not None


def test_importing_the_same_file_later_changes_nothing(store: FactStore) -> None:
    again = import_case(store, demo_bytes(NAMES[1]), case_id="M-1", happened_at=NOON + timedelta(days=1))
    assert again == Imported("M-1", 0, 14)


@pytest.mark.parametrize("change", [(b"grade = 2", b"grade = 3"), (b"weight_kg = 83", b""), (b"trauma = true", b"")])
def test_another_file_under_the_same_name_is_refused(store: FactStore, change: tuple[bytes, bytes]) -> None:
    assert change[0] in demo_bytes(NAMES[1])
    with pytest.raises(ConflictingFact, match="M-1"):
        import_case(store, demo_bytes(NAMES[1]).replace(*change), case_id="M-1")
    assert len(store.facts("M-1")) == 14


@pytest.mark.parametrize(
    ("name", "case_id"),
    [
        ("left eye.toml", "left-eye"),
        ("/somewhere/M-104.toml", "M-104"),
        ("C:\\cases\\a b.toml", "a-b"),
        ("…", "case"),
        ("", "case"),
        ("..", "case"),
        ("x" * 90, "x" * 64),
    ],
)
def test_a_case_is_called_after_its_file(name: str, case_id: str) -> None:
    store = MemoryFactStore()
    assert import_case(store, demo_bytes(NAMES[0]), name=name).case == case_id


def test_a_case_name_that_cannot_be_is_refused() -> None:
    with pytest.raises(InvalidInput) as caught:
        import_case(MemoryFactStore(), demo_bytes(NAMES[0]), case_id="two words")
    assert caught.value.field == "case"


def test_an_invented_case_says_so() -> None:
    store = MemoryFactStore()
    for name in NAMES:
        import_case(
            store, demo_bytes(name), case_id=name, author=INVENTED, happened_at=NOON, apart=timedelta(minutes=3)
        )
    assert case_ids(store) == list(NAMES)
    assert all(kept_case(store, name).invented for name in NAMES)


def test_a_decision_is_kept_once_and_reaches_the_situation(store: FactStore) -> None:
    choices = {"capsulorhexis_mm": 5.5, "ring": "after-nucleus"}
    kept = decide(store, "M-1", choices, reason="gap of three hours", key=KEY, who=ME, turned_down=("none: gap",))
    assert [one.header.id for one in kept] == [uuid5(KEY, "capsulorhexis_mm"), uuid5(KEY, "ring")]
    assert (
        decide(store, "M-1", choices, reason="gap of three hours", key=KEY, who=ME, turned_down=("none: gap",)) == kept
    )
    now = situation(store, "M-1")
    assert (now.decisions.capsulorhexis_mm, now.decisions.ring) == (5.5, "after-nucleus")
    assert now.settled[0].reason == "gap of three hours"
    assert kept_case(store, "M-1").head == 16
    assert [line.decided for line in kept_case(store, "M-1").thread[-2:]] == [True, True]


def test_the_same_key_for_another_decision_is_refused(store: FactStore) -> None:
    decide(store, "M-1", {"ring": "none"}, reason="sound", key=KEY, who=ME)
    with pytest.raises(ConflictingFact):
        decide(store, "M-1", {"ring": "after-nucleus"}, reason="sound", key=KEY, who=ME)


def test_an_impossible_decision_is_refused_by_name(store: FactStore) -> None:
    with pytest.raises(ForestayError, match="capsulorhexis_mm"):
        decide(store, "M-1", {"ring": "none", "capsulorhexis_mm": 50.0}, reason="x", key=KEY, who=ME)
    with pytest.raises(ForestayError, match="reason"):
        decide(store, "M-1", {"ring": "none"}, reason="", key=KEY, who=ME)
    assert kept_case(store, "M-1").head == 14


def test_decisions_of_two_pages_that_did_not_see_one_another_disagree(store: FactStore) -> None:
    decide(store, "M-1", {"pupil_hooks": 4}, reason="x", key=KEY, who=ME, based_on=14)
    decide(store, "M-1", {"pupil_hooks": 5}, reason="y", key=OTHER_KEY, who=Who("a2", "tablet"), based_on=14)
    assert [one.field for one in situation(store, "M-1").disagreements] == ["pupil_hooks"]
    decide(store, "M-1", {"pupil_hooks": 5}, reason="agreed", key=UUID(int=13), who=ME)
    assert situation(store, "M-1").disagreements == ()


def test_taking_back_once_and_for_all(store: FactStore) -> None:
    (choice,) = decide(store, "M-1", {"ring": "none"}, reason="sound", key=KEY, who=ME)
    back = take_back(store, "M-1", choice.header.id, why="gap seen", key=OTHER_KEY, who=ME)
    assert take_back(store, "M-1", choice.header.id, why="gap seen", key=OTHER_KEY, who=ME) == back
    assert situation(store, "M-1").decisions.ring is None
    assert kept_case(store, "M-1").head == 16
    with pytest.raises(NotFound):
        take_back(store, "M-1", UUID(int=99), why="?", key=UUID(int=14), who=ME)


def test_device_sequences_grow_by_device(store: FactStore) -> None:
    for n, device in enumerate(["page", "tablet", "page"]):
        decide(store, "M-1", {"pupil_hooks": 4 + n}, reason="x", key=UUID(int=20 + n), who=Who("a1", device))
    tail = [(f.header.device, f.header.device_sequence, f.header.based_on) for f in store.facts("M-1")[-3:]]
    assert tail == [("page", 1, 14), ("tablet", 1, 15), ("page", 2, 16)]


def test_export_and_import_of_the_whole_case(store: FactStore) -> None:
    decide(store, "M-1", {"ring": "none"}, reason="sound", key=KEY, who=ME)
    there = MemoryFactStore()
    assert import_case(there, export_case(store, "M-1")) == Imported("M-1", 15, 15)
    assert situation(there, "M-1") == situation(store, "M-1")
    assert verify(there.links("M-1")) is None
    with pytest.raises(NotFound, match="allowed: facts"):
        export_case(store, "M-1", "pictures")


def test_unknown_cases_are_an_error(store: FactStore) -> None:
    for ask in (situation, kept_case, export_case):
        with pytest.raises(NotFound, match="M-9"):
            ask(store, "M-9")
    with pytest.raises(NotFound, match="M-9"):
        decide(store, "M-9", {"ring": "none"}, reason="x", key=KEY, who=ME)


def test_the_store_opens_at_a_path_or_at_the_users_own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORESTAY_DB", str(tmp_path / "own.sqlite"))
    for url in (None, str(tmp_path / "named.sqlite")):
        kept = open_store(url)
        import_case(kept, demo_bytes(NAMES[0]), case_id="M-1")
        kept.close()
    assert {path.suffix for path in tmp_path.iterdir()} >= {".sqlite"}
    assert (tmp_path / "own.sqlite").exists()
    assert (tmp_path / "named.sqlite").exists()


@pytest.fixture
def command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> typer.Typer:
    monkeypatch.setenv("FORESTAY_DB", str(tmp_path / "cases.sqlite"))
    app = typer.Typer()
    register(app)
    return app


def test_the_commands_import_and_export(command: typer.Typer, tmp_path: Path) -> None:
    file = tmp_path / "M-7.toml"
    file.write_bytes(demo_bytes(NAMES[2]))
    run = CliRunner().invoke
    first = run(command, ["import", str(file)])
    assert (first.exit_code, first.stdout) == (0, "Case M-7: 14 new facts, 14 in all.\n")
    again = run(command, ["import", str(file), "--json"])
    assert again.stdout == '{"case": "M-7", "new": 0, "facts": 14, "notes": []}\n'
    named = run(command, ["import", str(file), "--case", "M-8"])
    assert "M-8: 14 new" in named.stdout
    out = run(command, ["export", "M-7"])
    assert out.exit_code == 0
    assert read_case(out.stdout_bytes) == read_case(file)
    (tmp_path / "copy.jsonl").write_bytes(out.stdout_bytes)
    back = run(command, ["import", str(tmp_path / "copy.jsonl"), "--db", str(tmp_path / "other.sqlite")])
    assert back.stdout == "Case M-7: 14 new facts, 14 in all.\n"


@pytest.mark.parametrize(
    ("arguments", "error"),
    [
        (["export", "M-9"], NotFound),
        (["import", "absent.toml"], NotFound),
        (["export", "M-9", "--db", "mysql://x/y"], InvalidInput),
        (["import", "/"], UnreadableFile),
    ],
)
def test_a_wrong_command_is_one_error(command: typer.Typer, arguments: list[str], error: type[ForestayError]) -> None:
    assert isinstance(CliRunner().invoke(command, arguments).exception, error)
