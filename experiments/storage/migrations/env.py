"""Alembic environment: runs on the connection that the store hands over."""

from __future__ import annotations

from alembic import context

from experiments.storage.schema import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
    transaction_per_migration=False,
)
context.run_migrations()
