"""Encryption at rest: nothing readable in the file, the passphrase opens it, another one does not."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from forestay.errors import InvalidInput, UnreadableFile
from forestay.store import encryption
from forestay.store.backup import backup, restore
from forestay.store.checking import check
from forestay.store.encryption import Locked, change_passphrase, encrypt_file, lock_of, new_lock, raw_key, write_lock
from forestay.store.sql import SqlFactStore
from tests.case.strategies import NOON, fact, length
from tests.store.test_checking import CASES, fill

PASSPHRASE = "a long sentence that nobody says"  # noqa: S105 - invented
SHIPPED = encryption.COST
OTHER = "another sentence of bearable length"


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """The tests do not wait for a cost that is meant to be felt."""
    monkeypatch.setattr(encryption, "COST", {"iterations": 1, "lanes": 1, "memory_cost": 64})


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "cases.sqlite"
    store = SqlFactStore(f"sqlite:///{path}")
    fill(store)
    store.close()
    return path


def test_an_encrypted_file_reads_as_noise_and_opens_with_its_passphrase(
    file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    store = SqlFactStore(f"sqlite:///{file}")
    links = store.links("M-1")
    store.close()
    assert b"axial_length" in file.read_bytes()
    encrypt_file(file, PASSPHRASE)
    for part in tmp_path.glob("cases.sqlite*"):
        assert b"axial_length" not in part.read_bytes()
    with pytest.raises(Locked, match="FORESTAY_PASSPHRASE"):
        SqlFactStore(f"sqlite:///{file}")
    monkeypatch.setenv("FORESTAY_PASSPHRASE", OTHER)
    with pytest.raises(Locked, match="does not open"):
        SqlFactStore(f"sqlite:///{file}")
    monkeypatch.setenv("FORESTAY_PASSPHRASE", PASSPHRASE)
    store = SqlFactStore(f"sqlite:///{file}")
    assert store.links("M-1") == links
    assert check(store.database) == []
    store.append("M-1", [fact(length(24), 70)])
    backup(store.database, tmp_path / "backup.sqlite")
    assert b"axial_length" not in (tmp_path / "backup.sqlite").read_bytes()
    assert lock_of(tmp_path / "backup.sqlite").is_file()
    plain = SqlFactStore(f"sqlite:///{tmp_path}/plain.sqlite")
    restore(plain.database, tmp_path / "backup.sqlite", at=NOON)
    assert plain.cases() == list(CASES)
    assert plain.links("M-1") == store.links("M-1")
    store.close()
    plain.close()
    with pytest.raises(InvalidInput, match="already"):
        encrypt_file(file, PASSPHRASE)


def test_the_passphrase_changes_without_the_database(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    encrypt_file(file, PASSPHRASE)
    before, key = file.read_bytes(), raw_key(lock_of(file), PASSPHRASE)
    change_passphrase(lock_of(file), PASSPHRASE, OTHER)
    assert file.read_bytes() == before
    assert raw_key(lock_of(file), OTHER) == key
    with pytest.raises(Locked):
        raw_key(lock_of(file), PASSPHRASE)
    assert lock_of(file).stat().st_mode & 0o777 == 0o600


def test_a_damaged_lock_and_a_short_passphrase_are_one_sentence(file: Path) -> None:
    with pytest.raises(InvalidInput, match="at least 15"):
        encrypt_file(file, "short")
    assert not lock_of(file).exists()
    lock, _ = new_lock(PASSPHRASE)
    told = json.loads(lock)
    for wrong in (b"", b"{}", json.dumps({**told, "form": "other"}).encode(), json.dumps({**told, "salt": 3}).encode()):
        write_lock(lock_of(file), wrong)
        with pytest.raises(UnreadableFile, match="lock"):
            raw_key(lock_of(file), PASSPHRASE)


def test_the_cost_is_that_of_the_standard() -> None:
    # RFC 9106, section 4, second recommended option: t = 3, p = 4, m = 2^16 KiB
    assert SHIPPED == {"iterations": 3, "lanes": 4, "memory_cost": 2**16}
