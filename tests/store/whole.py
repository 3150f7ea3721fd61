"""The whole of a store, to hold one state against another."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from forestay.store.interface import FactStore
from forestay.store.sql import SqlFactStore
from forestay.store.tables import metadata


def rows(store: FactStore) -> Any:
    """Every row of every table; in memory, every case with its chain."""
    if not isinstance(store, SqlFactStore):
        return {case: store.links(case) for case in store.cases()}
    with store.database.reading() as connection:
        return {name: connection.execute(select(table)).all() for name, table in metadata.tables.items()}
