"""The tables of the record: cases, the chain of their facts, heads that are signed, and what stands beside a case.

Bodies, salts and hashes are kept as exact bytes. Names of people stand in ``identity`` and nowhere else. Times are ISO
8601 text in UTC, so that both databases keep the same.
"""

from __future__ import annotations

from sqlalchemy import (
    REAL,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeEngine

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)
Number: TypeEngine[float] = Double().with_variant(REAL(), "sqlite")
"""A number with all its digits in both databases."""

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

signing_key = Table(
    "signing_key",
    metadata,
    Column("id", Text, primary_key=True),
    Column("public", LargeBinary, nullable=False),
    Column("since", Text, nullable=False),
    sqlite_strict=True,
)
"""Public keys that have signed here. Whether one is trusted is decided by the key file, never by this table."""

head = Table(
    "head",
    metadata,
    Column("case_number", ForeignKey("case.number"), primary_key=True),
    Column("sequence", Integer, nullable=False),
    Column("chain", LargeBinary, nullable=False),
    Column("key_id", ForeignKey("signing_key.id"), nullable=False),
    Column("signature", LargeBinary, nullable=False),
    sqlite_strict=True,
)
"""The signed end of each case."""

register = Table(
    "register",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("cases", Integer, nullable=False),
    Column("digest", LargeBinary, nullable=False),
    Column("key_id", ForeignKey("signing_key.id"), nullable=False),
    Column("signature", LargeBinary, nullable=False),
    CheckConstraint("id = 1", name="one_row"),
    sqlite_strict=True,
)
"""One signed row over the names of all cases, so that a whole case cannot go missing in silence."""

erasure = Table(
    "erasure",
    metadata,
    Column("case_number", ForeignKey("case.number"), primary_key=True),
    Column("sequence", Integer, nullable=False),
    Column("chain", LargeBinary, nullable=False),
    Column("erased_at", Text, nullable=False),
    Column("erased_by", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("key_id", ForeignKey("signing_key.id"), nullable=False),
    Column("signature", LargeBinary, nullable=False),
    sqlite_strict=True,
)
"""Signed tombstones: facts up to ``sequence`` have no body any more, and this says since when, by whom and why."""

identity = Table(
    "identity",
    metadata,
    Column("case_number", ForeignKey("case.number"), primary_key=True),
    Column("name", Text, nullable=False),
    Column("birth_date", Text),
    Column("number", Text),
    Column("changed_at", Text, nullable=False),
    Column("changed_by", Text, nullable=False),
    sqlite_strict=True,
)

blob = Table(
    "blob",
    metadata,
    Column("digest", Text, primary_key=True),
    Column("size", Integer, nullable=False),
    Column("content", LargeBinary, nullable=False),
    sqlite_strict=True,
)
"""Photos and documents by the SHA-256 of their bytes: the same picture is kept once."""

attachment = Table(
    "attachment",
    metadata,
    Column("id", Text, primary_key=True),
    Column("case_number", ForeignKey("case.number"), nullable=False, index=True),
    Column("digest", ForeignKey("blob.digest"), nullable=False, index=True),
    Column("title", Text, nullable=False),
    Column("media_type", Text, nullable=False),
    Column("added_at", Text, nullable=False),
    Column("added_by", Text, nullable=False),
    Column("key_id", ForeignKey("signing_key.id"), nullable=False),
    Column("signature", LargeBinary, nullable=False),
    sqlite_strict=True,
)

summary = Table(
    "summary",
    metadata,
    Column("case_number", ForeignKey("case.number"), primary_key=True),
    Column("sequence", Integer, nullable=False),
    Column("content", Text, nullable=False),
    sqlite_strict=True,
)
"""A line for each case, worked out from its facts up to ``sequence``; made again whenever it is behind."""

fact_field = Table(
    "fact_field",
    metadata,
    Column("case_number", Integer, primary_key=True),
    Column("server_sequence", Integer, primary_key=True),
    Column("name", Text, primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("number", Number),
    Column("word", Text),
    Index("ix_fact_field_number", "name", "number", "case_number"),
    Index("ix_fact_field_word", "name", "word", "case_number"),
    sqlite_strict=True,
)
"""The values of facts by field, for search. Made from the facts; beside it stands the index of words."""

WORDS = {
    "sqlite": ("CREATE VIRTUAL TABLE fact_text USING fts5(words, tokenize='unicode61 remove_diacritics 2')",),
    "postgresql": (
        "CREATE TABLE fact_text (doc bigint PRIMARY KEY, words tsvector NOT NULL)",
        "CREATE INDEX ix_fact_text_words ON fact_text USING gin (words)",
    ),
}
"""The index of words in each database; its row is named by case and sequence (:func:`document`)."""
SEQUENCES = 2**32


def document(case_number: int, sequence: int) -> int:
    """The number under which a fact stands in the index of words.

    >>> document(2, 3) == 2 * 2**32 + 3
    True
    """
    return case_number * SEQUENCES + sequence
