"""The record as a whole: check it, copy it, bring it back, erase a case, make its projections again, encrypt it."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from forestay.case.tree import tree_head
from forestay.errors import InvalidInput, UnreadableFile
from forestay.store.backup import Copied
from forestay.store.backup import backup as write_backup
from forestay.store.backup import restore as read_backup
from forestay.store.checking import Finding, check, heads
from forestay.store.database import Database
from forestay.store.engine import parsed
from forestay.store.interface import FactStore, now
from forestay.store.location import as_url, default_url
from forestay.store.sql import SqlFactStore
from forestay.store.summaries import Summary, summaries
from forestay.store.summaries import rebuild as make_again
from forestay.text import tr

HEADS_FORM = "forestay-heads-1"


def database_of(store: FactStore) -> Database:
    """The database under a store; a store that forgets has none."""
    if not isinstance(store, SqlFactStore):
        raise InvalidInput(tr("This record is not kept in a database."), field="db")
    return store.database


def verify(store: FactStore, against: bytes | None = None) -> list[Finding]:
    """Every fault of the record. ``against``: what :func:`heads_kept` wrote earlier and somebody kept elsewhere."""
    return check(database_of(store), against=None if against is None else _heads(against))


def heads_kept(store: FactStore) -> bytes:
    """The head of every case and the public key that signs here: to be printed or kept on another machine."""
    database = database_of(store)
    told = {
        "form": HEADS_FORM,
        "public_key": database.keyring.public.hex(),
        "heads": {name: list(head) for name, head in heads(database).items()},
    }
    return json.dumps(told, indent=1, sort_keys=True).encode()


def mark(store: FactStore) -> str:
    """One mark of the whole record, short enough for paper: of the same facts in the same cases it is the same.

    The head of the tree (RFC 6962) over one leaf a case, in the order of their names: name, number of facts, chain.
    """
    told = heads(database_of(store))
    return tree_head([f"{name}\n{count}\n{chain}".encode() for name, (count, chain) in sorted(told.items())]).hex()


def _heads(data: bytes) -> dict[str, tuple[int, str]]:
    try:
        told: dict[str, Any] = json.loads(data)
        if told["form"] != HEADS_FORM:
            raise ValueError
        return {str(name): (int(head[0]), str(head[1])) for name, head in told["heads"].items()}
    except (ValueError, KeyError, TypeError, AttributeError, IndexError):
        raise UnreadableFile(
            tr("These are no kept heads."), field="against", allowed=tr("what forestay verify --heads wrote")
        ) from None


def backup(store: FactStore, target: Path) -> Copied:
    """A checked copy of the whole record in one file, also while it is in use."""
    return write_backup(database_of(store), target)


def restore(store: FactStore, source: Path) -> Copied:
    """The record of a backup in the place of the one here, which is set aside."""
    return read_backup(database_of(store), source, at=now())


def erase(store: FactStore, case_id: str, *, by: str, why: str) -> int:
    """Delete what a case says; see the store. The number of facts that lost their body."""
    return store.erase(case_id, by=by, why=why)


def rebuild(store: FactStore) -> int:
    """Make lists and index again from the facts; the number of cases."""
    return make_again(database_of(store))


def summary_lines(store: FactStore) -> list[Summary]:
    """A line for each case."""
    return summaries(database_of(store))


def encrypt(db: str | None, passphrase: str) -> Path:
    """Encrypt the database file; it must not be in use. Gives the file."""
    from forestay.store.encryption import encrypt_file

    url = parsed(as_url(db) if db else default_url())
    if url.get_backend_name() != "sqlite":
        raise InvalidInput(
            tr("Only a database file is encrypted here; a server's disk is the server's matter."), field="db"
        )
    file = Path(str(url.database))
    encrypt_file(file, passphrase)
    return file


def change_passphrase(db: str | None, old: str, new: str) -> None:
    """Another passphrase for the same key; the database is not written again."""
    from forestay.store.encryption import change_passphrase, lock_of

    change_passphrase(lock_of(Path(str(parsed(as_url(db) if db else default_url()).database))), old, new)


def as_plain(found: list[Finding]) -> list[dict[str, Any]]:
    """Findings in plain JSON types."""
    return [asdict(one) for one in found]
