"""A consistent copy of the database, made while it is written to."""

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy.engine import make_url

from server.store.engine import StoreError


def copy_database(url: str, to: Path) -> None:
    """Copy the SQLite database at that URL into a new file, as it is at one moment; writers go on meanwhile.

    Raises StoreError where it is no SQLite database, cannot be read, or the copy is not sound.
    """
    address = make_url(url)
    if address.get_backend_name() != "sqlite" or not address.database:
        raise StoreError(
            f"the store at {address.render_as_string()} is no SQLite file: back it up with its own program, "
            "pg_dump for PostgreSQL"
        )
    source = Path(address.database)
    if not source.is_file():
        raise StoreError(f"there is no store at {source}")
    try:
        with (
            closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as original,
            closing(sqlite3.connect(to)) as copy,
        ):
            # All pages in one step: one read transaction, so that what is copied was so at one moment.
            original.backup(copy, pages=-1)
            copy.execute("PRAGMA journal_mode=DELETE")
            found = copy.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.Error as error:
        raise StoreError(f"the store at {source} cannot be copied: {error}") from None
    if found != "ok":
        raise StoreError(f"the store at {source} is damaged: {found}")


def check_database(path: Path) -> None:
    """Raise StoreError where a file is no sound SQLite database."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
            found = database.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.Error as error:
        raise StoreError(f"{path.name} is no database that can be read: {error}") from None
    if found != "ok":
        raise StoreError(f"{path.name} is damaged: {found}")
