"""Whether a database wants a passphrase before it opens. Knows nothing of databases, so that asking costs nothing."""

from __future__ import annotations

import os
from pathlib import Path

from forestay.store.location import as_url, default_url


def needs_passphrase(db: str | None) -> bool:
    """True for an encrypted database whose passphrase is not in the environment."""
    url = as_url(db) if db else default_url()
    if not url.startswith("sqlite:///") or os.environ.get("FORESTAY_PASSPHRASE"):
        return False
    file = Path(url.removeprefix("sqlite:///").partition("?")[0])
    return file.with_name(file.name + ".lock").is_file()
