"""Cases and the chain of their facts.

Revision ID: 0001
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the two tables."""
    op.create_table(
        "case",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("id", sa.Text, nullable=False),
        sa.UniqueConstraint("id"),
        sqlite_strict=True,
    )
    op.create_table(
        "fact",
        sa.Column("case_number", sa.Integer, sa.ForeignKey("case.number"), primary_key=True),
        sa.Column("server_sequence", sa.Integer, primary_key=True),
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("header", sa.LargeBinary, nullable=False),
        sa.Column("body", sa.LargeBinary),
        sa.Column("salt", sa.LargeBinary),
        sa.Column("leaf", sa.LargeBinary, nullable=False),
        sa.Column("chain", sa.LargeBinary, nullable=False),
        sa.UniqueConstraint("id"),
        sa.CheckConstraint("server_sequence >= 1", name="sequence"),
        sa.CheckConstraint("(body IS NULL) = (salt IS NULL)", name="erased_together"),
        sqlite_strict=True,
    )


def downgrade() -> None:
    """Take them away."""
    op.drop_table("fact")
    op.drop_table("case")
