"""Layouts of the database: every step up and down, on both databases, with the facts whole; and an old file in place."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, create_engine, inspect, text

from forestay.case.chain import verify
from forestay.errors import UnreadableFile
from forestay.store.checking import check
from forestay.store.database import Database
from forestay.store.engine import connect, parsed
from forestay.store.layout import MIGRATIONS, REVISIONS, create, downgrade, upgrade
from forestay.store.question import question
from forestay.store.sql import SqlFactStore
from forestay.store.tables import metadata
from tests.case.strategies import fact, length

# The layout of the first version as its files have it: written out, not made by the code under test.
FIRST_LAYOUT = """
CREATE TABLE "case" (
	number INTEGER NOT NULL,
	id TEXT NOT NULL,
	CONSTRAINT pk_case PRIMARY KEY (number),
	CONSTRAINT uq_case_id UNIQUE (id)
) STRICT;
CREATE TABLE fact (
	case_number INTEGER NOT NULL,
	server_sequence INTEGER NOT NULL,
	id TEXT NOT NULL,
	kind TEXT NOT NULL,
	header BLOB NOT NULL,
	body BLOB,
	salt BLOB,
	leaf BLOB NOT NULL,
	chain BLOB NOT NULL,
	CONSTRAINT pk_fact PRIMARY KEY (case_number, server_sequence),
	CONSTRAINT ck_fact_sequence CHECK (server_sequence >= 1),
	CONSTRAINT ck_fact_erased_together CHECK ((body IS NULL) = (salt IS NULL)),
	CONSTRAINT fk_fact_case_number_case FOREIGN KEY(case_number) REFERENCES "case" (number),
	CONSTRAINT uq_fact_id UNIQUE (id)
) STRICT;
PRAGMA user_version=1;
"""


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path}/cases.sqlite"
    return str(request.getfixturevalue("postgresql").database())


@pytest.fixture
def connection(url: str) -> Iterator[Connection]:
    engine = connect(parsed(url))
    with engine.connect().execution_options(writes=True) as opened, opened.begin():
        yield opened
    engine.dispose()


def layout(connection: Connection) -> dict[str, Any]:
    """Tables, columns, keys, indexes and constraints as the database itself tells them."""
    told: dict[str, Any] = {}
    seen = inspect(connection)
    for name in seen.get_table_names():
        told[name] = {
            "columns": [(c["name"], str(c["type"]), c["nullable"]) for c in seen.get_columns(name)],
            "key": seen.get_pk_constraint(name),
            "foreign": sorted(str(sorted(k.items(), key=str)) for k in seen.get_foreign_keys(name)),
            "unique": sorted(str(sorted(k.items(), key=str)) for k in seen.get_unique_constraints(name)),
            "checks": sorted(c["name"] or "" for c in seen.get_check_constraints(name)),
            "indexes": sorted((i["name"] or "", tuple(i["column_names"])) for i in seen.get_indexes(name)),
        }
    return told


def test_the_list_of_layouts_is_that_of_the_revisions() -> None:
    settings = Config()
    settings.set_main_option("script_location", str(MIGRATIONS))
    walked = [script.revision for script in ScriptDirectory.from_config(settings).walk_revisions()]
    assert tuple(reversed(walked)) == REVISIONS


def test_step_by_step_gives_the_same_layout_as_at_once(connection: Connection, request: pytest.FixtureRequest) -> None:
    from alembic import command

    from forestay.store.layout import _settings

    command.upgrade(_settings(connection), "head")
    stepped = layout(connection)
    differences = compare_metadata(MigrationContext.configure(connection), metadata)
    words = [d for d in differences if "fact_text" not in str(d)]
    assert words == []
    downgrade(connection, "base")
    assert [n for n in inspect(connection).get_table_names() if n != "alembic_version"] == []
    connection.execute(text("DROP TABLE alembic_version"))
    create(connection)
    assert layout(connection) == stepped


@pytest.mark.parametrize("low", REVISIONS[:-1])
def test_down_and_up_again_leaves_every_fact_as_it_was(url: str, low: str) -> None:
    store = SqlFactStore(url)
    store.append("M-1", [fact(length(20 + n / 10), n) for n in range(1, 5)])
    links = store.links("M-1")
    with store.database.writing() as connection:
        downgrade(connection, low)
        assert set(inspect(connection).get_table_names()) >= {"case", "fact"}
    store.close()
    again = SqlFactStore(url)
    assert again.links("M-1") == links
    assert again.search(question("axial_length_mm>20.25"), limit=5)[0].sequences == (3, 4)
    assert check(again.database) == []
    again.close()


def old_file(folder: Path) -> Path:
    """A file of the first layout with three facts."""
    file = folder / "old.sqlite"
    store = SqlFactStore(f"sqlite:///{folder}/new.sqlite")
    store.append("M-1", [fact(length(20 + n / 10), n) for n in (1, 2, 3)])
    store.close()
    raw = sqlite3.connect(file)
    raw.executescript(FIRST_LAYOUT)
    raw.execute("ATTACH ? AS newer", (f"{folder}/new.sqlite",))
    for table in ('"case"', "fact"):
        raw.execute(f"INSERT INTO {table} SELECT * FROM newer.{table}")  # noqa: S608 - fixed names
    raw.commit()
    raw.close()
    return file


def test_a_file_of_the_first_layout_is_taken_up_in_place_signed_and_indexed(tmp_path: Path) -> None:
    store = SqlFactStore(f"sqlite:///{old_file(tmp_path)}")
    assert verify(store.links("M-1")) is None
    assert len(store.facts("M-1")) == 3
    assert check(store.database) == []
    assert len(store.search(question("axial"), limit=5)) == 1
    assert [one.header.server_sequence for one in store.append("M-1", [fact(length(24), 4)])] == [4]
    store.close()


def test_a_broken_old_chain_is_not_signed(tmp_path: Path) -> None:
    file = old_file(tmp_path)
    raw = sqlite3.connect(file)
    with raw:
        raw.execute("UPDATE fact SET body = CAST('{}' AS BLOB) WHERE server_sequence = 2")
    raw.close()
    store = SqlFactStore(f"sqlite:///{file}")
    found = check(store.database)
    store.close()
    assert ("M-1", 2, "changed") in {(one.case, one.position, one.fault) for one in found}


@pytest.mark.parametrize("version", ["0099", "something"])
def test_a_layout_of_a_newer_version_is_refused(url: str, version: str) -> None:
    SqlFactStore(url).close()
    engine = create_engine(parsed(url))
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = :v"), {"v": version})
    engine.dispose()
    with pytest.raises(UnreadableFile, match="newer"):
        Database(url)


def test_upgrading_needs_no_step_that_is_already_done(connection: Connection) -> None:
    create(connection)
    before = layout(connection)
    upgrade(connection)
    assert layout(connection) == before
