"""Where the database is when nobody says otherwise. Knows nothing of databases."""

from __future__ import annotations

import os
from pathlib import Path

from forestay.errors import UnreadableFile
from forestay.text import tr

FILE = "forestay.sqlite"


def default_url() -> str:
    """The database named by ``FORESTAY_DB``, else a file in the user's data folder, which is made if need be."""
    named = os.environ.get("FORESTAY_DB")
    if named:
        return as_url(named)
    return as_url(str(data_folder() / FILE))


def data_folder() -> Path:
    """The user's data folder, which is made if need be."""
    home = os.environ.get("XDG_DATA_HOME")
    folder = (Path(home) if home else Path.home() / ".local" / "share") / "forestay"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as wrong:
        raise UnreadableFile(
            tr("The data folder {folder} cannot be made: {reason}.", folder=folder, reason=wrong.strerror),
            field="db",
            value=str(folder),
        ) from None
    return folder


def as_url(named: str) -> str:
    """A database address; a plain path means an SQLite file there.

    >>> as_url("cases.sqlite"), as_url("sqlite:////srv/cases.sqlite")
    ('sqlite:///cases.sqlite', 'sqlite:////srv/cases.sqlite')
    """
    return named if "://" in named else f"sqlite:///{named}"


def key_file(url: str) -> Path:
    """The signing key that belongs to a database: beside its file, or in the data folder; ``FORESTAY_KEY`` comes first."""
    named = os.environ.get("FORESTAY_KEY")
    return Path(named) if named else _beside(url, "key")


def erasures_file(url: str) -> Path:
    """The list of what was erased, kept apart so that an older backup does not bring it back."""
    return _beside(url, "erasures")


def _beside(url: str, ending: str) -> Path:
    if url.startswith("sqlite"):
        file = Path(url.partition(":///")[2].partition("?")[0])
        return file.with_name(f"{file.name or 'forestay'}.{ending}")
    home = os.environ.get("XDG_DATA_HOME")
    folder = (Path(home) if home else Path.home() / ".local" / "share") / "forestay"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    name = "".join(
        c if c.isalnum() else "-" for c in url.rpartition("@")[2].partition("://")[2] or url.rpartition("@")[2]
    )
    return folder / f"{name}.{ending}"
