"""Encryption of an SQLite file at rest, if somebody asks for it.

The file is encrypted with a random key of 32 bytes. That key lies beside it in a *lock* (``forestay.sqlite.lock``),
wrapped with AES-256-GCM under a key that argon2id (RFC 9106) makes from the passphrase; so the passphrase can be changed
without writing the database again. Without lock or passphrase nothing can be read, by nobody.
"""

from __future__ import annotations

import json
import os
import secrets
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.text import tr

VARIABLE = "FORESTAY_PASSPHRASE"
PLAIN = b"SQLite format 3\x00"
KEY_BYTES = 32
SHORTEST = 15
"""Characters of a passphrase that stands alone (NIST SP 800-63B-4, 2025)."""
COST = {"iterations": 3, "lanes": 4, "memory_cost": 64 * 1024}
"""RFC 9106, second recommended option: 64 MiB, three passes, four lanes."""
FORM = "forestay-lock-1"


class Locked(ForestayError):
    """The database is encrypted and the passphrase is missing or wrong."""

    code = "locked"
    http_status = 503


def lock_of(file: Path) -> Path:
    """The lock beside a database file."""
    return file.with_name(file.name + ".lock")


def is_encrypted(file: Path) -> bool:
    """Whether there is a lock, and no plain database that it does not belong to."""
    if not lock_of(file).is_file():
        return False
    try:
        with file.open("rb") as opened:
            return opened.read(len(PLAIN)) != PLAIN
    except OSError:
        return True


def new_lock(passphrase: str, key: bytes | None = None) -> tuple[bytes, bytes]:
    """A lock for a key (a new random one), and the key."""
    if len(passphrase) < SHORTEST:
        allowed = tr("at least {least} characters", least=SHORTEST)
        raise InvalidInput(
            tr("The passphrase is too short; allowed: {allowed}.", allowed=allowed), field="passphrase", allowed=allowed
        )
    key = secrets.token_bytes(KEY_BYTES) if key is None else key
    salt, nonce = secrets.token_bytes(16), secrets.token_bytes(12)
    wrapped = AESGCM(_stretched(passphrase, salt, COST)).encrypt(nonce, key, FORM.encode())
    told = {"form": FORM, "salt": salt.hex(), "nonce": nonce.hex(), "wrapped": wrapped.hex(), **COST}
    return json.dumps(told, indent=1).encode(), key


def write_lock(path: Path, lock: bytes) -> None:
    """Put a lock in its place at once, readable for the owner alone."""
    part = path.with_name(path.name + ".part")
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as out:
        out.write(lock)
        out.flush()
        os.fsync(out.fileno())
    os.replace(part, path)


def raw_key(lock: Path, passphrase: str | None = None) -> bytes:
    """The key in a lock, by the passphrase given or the one in the environment."""
    given = passphrase if passphrase is not None else os.environ.get(VARIABLE)
    if not given:
        raise Locked(
            tr("The database is encrypted; give its passphrase in {variable}.", variable=VARIABLE), field="passphrase"
        )
    try:
        told = json.loads(lock.read_bytes())
        if told["form"] != FORM:
            raise ValueError
        cost = {name: int(told[name]) for name in COST}
        stretched = _stretched(given, bytes.fromhex(told["salt"]), cost)
        return AESGCM(stretched).decrypt(bytes.fromhex(told["nonce"]), bytes.fromhex(told["wrapped"]), FORM.encode())
    except InvalidTag:
        raise Locked(tr("The passphrase does not open this database."), field="passphrase") from None
    except (OSError, ValueError, KeyError, TypeError):
        raise UnreadableFile(
            tr("The lock {file} cannot be read.", file=lock.name), field="lock", value=str(lock)
        ) from None


def _stretched(passphrase: str, salt: bytes, cost: dict[str, int]) -> bytes:
    made = Argon2id(
        salt=salt,
        length=KEY_BYTES,
        iterations=cost["iterations"],
        lanes=cost["lanes"],
        memory_cost=cost["memory_cost"],
    )
    return made.derive(passphrase.encode())


def encrypt_file(file: Path, passphrase: str) -> None:
    """Turn a plain database into an encrypted one, in place. Nobody else may have it open.

    The encrypted copy is complete and in its place before the plain one goes; the plain bytes may remain on the disk
    until they are overwritten, which only an encrypted disk prevents.
    """
    import sqlcipher3

    if is_encrypted(file):
        raise InvalidInput(tr("The database is encrypted already."), field="db", value=str(file))
    if not file.is_file():
        raise UnreadableFile(tr("There is no database {file}.", file=file), field="db", value=str(file))
    lock, key = new_lock(passphrase)
    part = file.with_name(file.name + ".encrypting")
    part.unlink(missing_ok=True)
    plain = sqlcipher3.connect(str(file), isolation_level=None)
    try:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        plain.execute("BEGIN EXCLUSIVE")
        plain.execute("COMMIT")
        version = plain.execute("PRAGMA user_version").fetchone()[0]
        plain.execute("ATTACH DATABASE ? AS hidden KEY ?", (str(part), f"x'{key.hex()}'"))
        plain.execute("SELECT sqlcipher_export('hidden')")
        plain.execute(f"PRAGMA hidden.user_version={int(version):d}")
        plain.execute("DETACH DATABASE hidden")
        plain.execute("PRAGMA journal_mode=DELETE")
    except sqlcipher3.Error as wrong:
        part.unlink(missing_ok=True)
        raise UnreadableFile(
            tr("The database {file} cannot be encrypted: {reason}.", file=file.name, reason=str(wrong)), field="db"
        ) from None
    finally:
        plain.close()
    write_lock(lock_of(file), lock)
    os.replace(part, file)


def change_passphrase(lock: Path, old: str, new: str) -> None:
    """Wrap the same key under another passphrase."""
    made, _ = new_lock(new, raw_key(lock, old))
    write_lock(lock, made)
