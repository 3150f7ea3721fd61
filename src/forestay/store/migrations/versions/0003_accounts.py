"""Accounts, sessions, trusted devices, failed attempts, and the record of who read what.

Revision ID: 0003
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables of accounts."""
    op.create_table(
        "account",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("login", sa.Text, nullable=False),
        sa.Column("shown_as", sa.Text, nullable=False),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("password", sa.Text),
        sa.Column("pin", sa.Text),
        sa.Column("subject", sa.Text),
        sa.Column("active", sa.Integer, nullable=False),
        sa.Column("created_at", sa.Text, nullable=False),
        sa.UniqueConstraint("login"),
        sa.UniqueConstraint("subject"),
        sa.CheckConstraint("active IN (0, 1)", name="active"),
        sqlite_strict=True,
    )
    op.create_table(
        "device",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("token", sa.LargeBinary, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("trusted_by", sa.Text, sa.ForeignKey("account.id"), nullable=False),
        sa.Column("trusted_at", sa.Text, nullable=False),
        sa.Column("ended_at", sa.Text),
        sa.UniqueConstraint("token"),
        sqlite_strict=True,
    )
    op.create_table(
        "session",
        sa.Column("token", sa.LargeBinary, primary_key=True),
        sa.Column("account_id", sa.Text, sa.ForeignKey("account.id"), nullable=False, index=True),
        sa.Column("device_id", sa.Text, nullable=False),
        sa.Column("csrf", sa.Text, nullable=False),
        sa.Column("started_at", sa.Text, nullable=False),
        sa.Column("seen_at", sa.Text, nullable=False),
        sa.Column("ended_at", sa.Text),
        sa.Column("by_pin", sa.Integer, nullable=False),
        sa.CheckConstraint("by_pin IN (0, 1)", name="by_pin"),
        sqlite_strict=True,
    )
    _records()


def _records() -> None:
    op.create_table(
        "attempt",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("ix_attempt_what", "attempt", ["what", "at"])
    op.create_table(
        "access",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("account_id", sa.Text),
        sa.Column("device_id", sa.Text),
        sa.Column("action", sa.Text, nullable=False),
        sa.Column("case_id", sa.Text),
        sa.Column("outcome", sa.Text, nullable=False),
        sa.Column("chain", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("ix_access_case_id", "access", ["case_id", "number"])


def downgrade() -> None:
    """Take them away: accounts and the record of reading are lost, the facts stay."""
    for table in ("access", "attempt", "session", "device", "account"):
        op.drop_table(table)
