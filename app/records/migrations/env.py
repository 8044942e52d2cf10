"""Alembic's entry: migrate on the connection that the store hands over."""

from __future__ import annotations

from alembic import context

from app.records.schema import metadata

# The store opens and commits the transaction itself, so that two stations which
# open a new database at the same moment do not both create it.
context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
