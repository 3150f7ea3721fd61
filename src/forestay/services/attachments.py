"""Photos and documents of a case: kept by the hash of their bytes, given back only as they were."""

from __future__ import annotations

from forestay.services.keeping import database_of
from forestay.store import attachments
from forestay.store.attachments import LARGEST_BYTES, Attached
from forestay.store.interface import FactStore, now

__all__ = ["LARGEST_BYTES", "Attached", "attach", "attached", "content"]


def attach(store: FactStore, case_id: str, data: bytes, *, title: str, by: str) -> Attached:
    """Keep a file with a case: PNG, JPEG, TIFF or PDF, told by its first bytes."""
    return attachments.add(database_of(store), case_id, data, title=title, by=by, at=now())


def attached(store: FactStore, case_id: str) -> list[Attached]:
    """What is kept with a case, oldest first."""
    return attachments.listed(database_of(store), case_id)


def content(store: FactStore, case_id: str, attachment_id: str) -> tuple[Attached, bytes]:
    """One file, checked against its hash."""
    return attachments.content(database_of(store), case_id, attachment_id)
