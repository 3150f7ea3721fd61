"""The settings of the practice, change by change.

Revision ID: 0004
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table of settings."""
    op.create_table(
        "setting",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("author", sa.Text, nullable=False),
        sa.Column("device", sa.Text, nullable=False),
        sa.Column("part", sa.Text, nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.Column("chain", sa.LargeBinary, nullable=False),
        sa.Column("key_id", sa.Text, sa.ForeignKey("signing_key.id"), nullable=False),
        sa.Column("signature", sa.LargeBinary, nullable=False),
        sa.CheckConstraint("number >= 1", name="number"),
        sqlite_strict=True,
    )


def downgrade() -> None:
    """Take it away: settings are lost, the facts stay."""
    op.drop_table("setting")
