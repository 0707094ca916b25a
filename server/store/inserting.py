"""Inserts that know what to do when the row is there already: in the dialect of the database at hand."""

from sqlalchemy import Table
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, SQLModel


def table_of(row: type[SQLModel]) -> Table:
    """The table behind a row class."""
    table: Table = row.__table__  # type: ignore[attr-defined]
    return table


def insert_into(session: Session, row: type[SQLModel]) -> sqlite.Insert | postgresql.Insert:
    """An insert with `on_conflict_do_nothing` and `on_conflict_do_update`, which both databases have."""
    if session.get_bind().dialect.name == "postgresql":
        return postgresql.insert(table_of(row))
    return sqlite.insert(table_of(row))
