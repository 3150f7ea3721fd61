"""Where facts are kept. Import :mod:`forestay.store.sql` only where a database is wanted."""
