"""Alembic's entry: migrate on the connection that the store hands over."""

from __future__ import annotations

from alembic import context

# The store opens and commits the transaction itself, so that two stations which
# open a new database at the same moment do not both create it.
context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
