"""Alembic runs this file; the store hands it the open transaction (see `server.store.migrating`)."""

from alembic import context
from sqlalchemy import Connection

from server.store.metadata import METADATA


def run() -> None:
    """Run the migrations on the connection that was handed over."""
    connection: Connection | None = context.config.attributes.get("connection")
    if connection is None:
        raise RuntimeError("migrations run by server.store.engine.open_store, on its own connection")
    # Batch mode: SQLite cannot alter most things of a table in place.
    context.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
    context.run_migrations()


run()
