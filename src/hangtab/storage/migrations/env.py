"""Alembic's environment: it works inside the connection that it is given, and opens none itself."""

from __future__ import annotations

from alembic import context

from hangtab.storage.tables import METADATA

connection = context.config.attributes["connection"]
# Batches rebuild a table, since SQLite cannot alter a column.
context.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
context.run_migrations()
