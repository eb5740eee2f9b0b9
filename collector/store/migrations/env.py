"""What Alembic runs: the migrations, on the connection that `runner` hands over."""

from __future__ import annotations

from alembic import context

from collector.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    # SQLite changes a column by copying the table.
    render_as_batch=True,
)
context.run_migrations()
