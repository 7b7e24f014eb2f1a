"""Alembic's entry: run the steps on the connection, and in the transaction, we were given."""

from alembic import context

from watcher.store.tables import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    # SQLite can alter little in place; later steps copy the table instead.
    render_as_batch=True,
)
context.run_migrations()
