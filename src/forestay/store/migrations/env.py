"""Runs the revisions on the connection that is handed over, within its transaction."""

from __future__ import annotations

from alembic import context

from forestay.store.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
if connection.dialect.name == "sqlite":
    reached = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar() or "0"
    connection.exec_driver_sql(f"PRAGMA user_version={int(reached):d}")
