"""Alembic's entry: runs the migrations on the connection that opening.py hands over."""

from __future__ import annotations

from alembic import context

from truestop.adapters.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,
    render_as_batch=True,
)
context.run_migrations()
