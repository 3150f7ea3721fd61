"""Who stands by the end of a case: an Ed25519 key (RFC 8032) that is kept apart from the database.

The key file stands beside an SQLite file (``forestay.sqlite.key``), in the data folder for a server's database, or where
``FORESTAY_KEY`` says. It holds the private key and the public keys of other machines whose signatures are trusted here.
Whoever can change the database but not read this file cannot sign what was changed.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from forestay.case.jsontext import canonical
from forestay.errors import UnreadableFile
from forestay.text import tr

FIRST_LINE = "forestay signing key 1"
ID_LETTERS = 16


def key_id(public: bytes) -> str:
    """The short name of a public key: the first hexadecimal digits of its SHA-256."""
    return hashlib.sha256(public).hexdigest()[:ID_LETTERS]


def message(what: str, **said: Any) -> bytes:
    """The bytes that are signed: what kind of thing, and what it says."""
    return canonical({"what": f"forestay-{what}", **said})


@dataclass(frozen=True)
class Signature:
    """A signature and the name of the key that made it."""

    key_id: str
    signature: bytes


class Keyring:
    """One private key, and the public keys that are trusted."""

    def __init__(self, private: Ed25519PrivateKey, trusted: Iterable[bytes] = ()) -> None:
        self._private = private
        self.public = private.public_key().public_bytes_raw()
        self.id = key_id(self.public)
        self.trusted = {key_id(public): public for public in (self.public, *trusted)}

    def trust(self, publics: Iterable[bytes]) -> None:
        """Trust these keys too, as long as this ring is in use."""
        self.trusted |= {key_id(public): public for public in publics}

    def sign(self, what: str, **said: Any) -> Signature:
        """Stand by something."""
        return Signature(self.id, self._private.sign(message(what, **said)))

    def holds(self, signature: Signature, what: str, **said: Any) -> bool:
        """Whether a trusted key stands by exactly this."""
        public = self.trusted.get(signature.key_id)
        return public is not None and signed_by(public, signature.signature, message(what, **said))


def signed_by(public: bytes, signature: bytes, said: bytes) -> bool:
    """Whether the holder of ``public`` signed ``said``."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, said)
    except (InvalidSignature, ValueError):
        return False
    return True


def open_keyring(path: Path) -> Keyring:
    """The key in this file; a new one is made where there is none. Only the owner may read the file."""
    if not path.exists():
        _create(path, [f"private {Ed25519PrivateKey.generate().private_bytes_raw().hex()}"])
    private, trusted = _read(path)
    return Keyring(Ed25519PrivateKey.from_private_bytes(private), trusted)


def trust(path: Path, publics: Iterable[bytes]) -> None:
    """Trust the signatures of these keys from now on."""
    private, trusted = _read(path)
    every = dict.fromkeys([*trusted, *publics])
    lines = [f"private {private.hex()}", *(f"trusted {public.hex()}" for public in every)]
    fresh = path.with_name(path.name + ".new")
    fresh.unlink(missing_ok=True)
    _create(fresh, lines)
    os.replace(fresh, path)


def _create(path: Path, lines: list[str]) -> None:
    """Write a whole file for the owner alone, and only if nobody else has made it meanwhile."""
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="ascii") as out:
            out.write("\n".join([FIRST_LINE, *lines, ""]))
            out.flush()
            os.fsync(out.fileno())
        try:
            os.link(part, path)
        except FileExistsError:
            return
        finally:
            part.unlink()
    except OSError as wrong:
        raise _unusable(path, wrong.strerror or str(wrong)) from None


def _read(path: Path) -> tuple[bytes, list[bytes]]:
    try:
        lines = path.read_text(encoding="ascii").split("\n")
        words = [line.split() for line in lines[1:] if line]
        private = [bytes.fromhex(value) for name, value in words if name == "private"]
        trusted = [bytes.fromhex(value) for name, value in words if name == "trusted"]
        if lines[0] != FIRST_LINE or len(private) != 1 or {len(key) for key in (*private, *trusted)} != {32}:
            raise ValueError
    except OSError as wrong:
        raise _unusable(path, wrong.strerror or str(wrong)) from None
    except ValueError:
        raise _unusable(path, tr("it is not a signing key")) from None
    return private[0], trusted


def _unusable(path: Path, reason: str) -> UnreadableFile:
    return UnreadableFile(
        tr("The signing key {file} cannot be used: {reason}.", file=path, reason=reason), field="key", value=str(path)
    )
