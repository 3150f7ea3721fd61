"""The tables: a case, and the chain of its facts. Bodies, salts and hashes are kept as exact bytes."""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

VERSION = 1
"""Version of these tables, kept in the file."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

case = Table(
    "case",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("id", Text, nullable=False),
    UniqueConstraint("id"),
    sqlite_strict=True,
)

fact = Table(
    "fact",
    metadata,
    Column("case_number", ForeignKey("case.number"), primary_key=True),
    Column("server_sequence", Integer, primary_key=True),
    Column("id", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("header", LargeBinary, nullable=False),
    Column("body", LargeBinary),
    Column("salt", LargeBinary),
    Column("leaf", LargeBinary, nullable=False),
    Column("chain", LargeBinary, nullable=False),
    UniqueConstraint("id"),
    CheckConstraint("server_sequence >= 1", name="sequence"),
    CheckConstraint("(body IS NULL) = (salt IS NULL)", name="erased_together"),
    sqlite_strict=True,
)
