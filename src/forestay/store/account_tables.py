"""The tables of accounts: who may sign in, who is signed in, on which device, and what was read."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Integer, LargeBinary, Table, Text, UniqueConstraint

from forestay.store.tables import metadata

account = Table(
    "account",
    metadata,
    Column("id", Text, primary_key=True),
    Column("login", Text, nullable=False),
    Column("shown_as", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("password", Text),
    Column("pin", Text),
    Column("subject", Text),
    Column("active", Integer, nullable=False),
    Column("created_at", Text, nullable=False),
    UniqueConstraint("login"),
    UniqueConstraint("subject"),
    CheckConstraint("active IN (0, 1)", name="active"),
    sqlite_strict=True,
)
"""``id`` is the pseudonym that facts carry; ``subject`` is who somebody is to the hospital's own sign-on."""

device = Table(
    "device",
    metadata,
    Column("id", Text, primary_key=True),
    Column("token", LargeBinary, nullable=False),
    Column("name", Text, nullable=False),
    Column("trusted_by", ForeignKey("account.id"), nullable=False),
    Column("trusted_at", Text, nullable=False),
    Column("ended_at", Text),
    UniqueConstraint("token"),
    sqlite_strict=True,
)
"""Tablets on which a PIN is enough to switch users. ``token`` is the SHA-256 of what the tablet holds."""

session = Table(
    "session",
    metadata,
    Column("token", LargeBinary, primary_key=True),
    Column("account_id", ForeignKey("account.id"), nullable=False, index=True),
    Column("device_id", Text, nullable=False),
    Column("csrf", Text, nullable=False),
    Column("started_at", Text, nullable=False),
    Column("seen_at", Text, nullable=False),
    Column("ended_at", Text),
    Column("by_pin", Integer, nullable=False),
    CheckConstraint("by_pin IN (0, 1)", name="by_pin"),
    sqlite_strict=True,
)

attempt = Table(
    "attempt",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("what", Text, nullable=False),
    Column("at", Text, nullable=False),
    Index("ix_attempt_what", "what", "at"),
    sqlite_strict=True,
)
"""Failed attempts, for the limits."""

access = Table(
    "access",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("account_id", Text),
    Column("device_id", Text),
    Column("action", Text, nullable=False),
    Column("case_id", Text),
    Column("outcome", Text, nullable=False),
    Column("chain", LargeBinary, nullable=False),
    Index("ix_access_case_id", "case_id", "number"),
    sqlite_strict=True,
)
"""Who read or did what, each row chained to the one before."""
