"""The table of the practice's settings: every change of them, only ever added to."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, ForeignKey, Integer, LargeBinary, Table, Text

from forestay.store.tables import metadata

setting = Table(
    "setting",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("part", Text, nullable=False),
    Column("content", LargeBinary, nullable=False),
    Column("chain", LargeBinary, nullable=False),
    Column("key_id", ForeignKey("signing_key.id"), nullable=False),
    Column("signature", LargeBinary, nullable=False),
    CheckConstraint("number >= 1", name="number"),
    sqlite_strict=True,
)
"""``content`` is one part of the settings as a whole, in canonical JSON; the last row of a part is in force. Each row is
chained to the one before, and signed."""
