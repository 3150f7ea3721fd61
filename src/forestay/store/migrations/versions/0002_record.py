"""Signed heads and register, erasures, identity apart, attachments, projections and search.

Revision ID: 0002
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

NUMBER: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
WORDS = {
    "sqlite": ("CREATE VIRTUAL TABLE fact_text USING fts5(words, tokenize='unicode61 remove_diacritics 2')",),
    "postgresql": (
        "CREATE TABLE fact_text (doc bigint PRIMARY KEY, words tsvector NOT NULL)",
        "CREATE INDEX ix_fact_text_words ON fact_text USING gin (words)",
    ),
}


def _case() -> sa.Column[int]:
    return sa.Column("case_number", sa.Integer, sa.ForeignKey("case.number"), primary_key=True)


def _signed() -> tuple[sa.Column[str], sa.Column[bytes]]:
    return (
        sa.Column("key_id", sa.Text, sa.ForeignKey("signing_key.id"), nullable=False),
        sa.Column("signature", sa.LargeBinary, nullable=False),
    )


def upgrade() -> None:
    """Make the tables beside the facts; the facts stay as they are."""
    _signatures()
    _beside_a_case()
    _projections()
    for statement in WORDS[op.get_bind().dialect.name]:
        op.execute(statement)


def _signatures() -> None:
    op.create_table(
        "signing_key",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("public", sa.LargeBinary, nullable=False),
        sa.Column("since", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "head",
        _case(),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("chain", sa.LargeBinary, nullable=False),
        *_signed(),
        sqlite_strict=True,
    )
    op.create_table(
        "register",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("cases", sa.Integer, nullable=False),
        sa.Column("digest", sa.LargeBinary, nullable=False),
        *_signed(),
        sa.CheckConstraint("id = 1", name="one_row"),
        sqlite_strict=True,
    )
    op.create_table(
        "erasure",
        _case(),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("chain", sa.LargeBinary, nullable=False),
        sa.Column("erased_at", sa.Text, nullable=False),
        sa.Column("erased_by", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        *_signed(),
        sqlite_strict=True,
    )


def _beside_a_case() -> None:
    op.create_table(
        "identity",
        _case(),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("birth_date", sa.Text),
        sa.Column("number", sa.Text),
        sa.Column("changed_at", sa.Text, nullable=False),
        sa.Column("changed_by", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "blob",
        sa.Column("digest", sa.Text, primary_key=True),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "attachment",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("case_number", sa.Integer, sa.ForeignKey("case.number"), nullable=False, index=True),
        sa.Column("digest", sa.Text, sa.ForeignKey("blob.digest"), nullable=False, index=True),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("media_type", sa.Text, nullable=False),
        sa.Column("added_at", sa.Text, nullable=False),
        sa.Column("added_by", sa.Text, nullable=False),
        *_signed(),
        sqlite_strict=True,
    )


def _projections() -> None:
    op.create_table(
        "summary",
        _case(),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "fact_field",
        sa.Column("case_number", sa.Integer, primary_key=True),
        sa.Column("server_sequence", sa.Integer, primary_key=True),
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("place", sa.Integer, primary_key=True),
        sa.Column("number", NUMBER),
        sa.Column("word", sa.Text),
        sqlite_strict=True,
    )
    op.create_index("ix_fact_field_number", "fact_field", ["name", "number", "case_number"])
    op.create_index("ix_fact_field_word", "fact_field", ["name", "word", "case_number"])


TABLES = ("fact_field", "summary", "attachment", "blob", "identity", "erasure", "register", "head", "signing_key")


def downgrade() -> None:
    """Take them away: signatures, identities and attachments are lost, the facts stay."""
    op.execute("DROP TABLE fact_text")
    for table in TABLES:
        op.drop_table(table)
