"""Opens the store and runs its transactions. A SQLite file by default; a PostgreSQL URL works the same way.

On SQLite a commit is on the disk when it returns: write-ahead log, `synchronous=FULL`. Transactions that
write take the write lock at their start (`BEGIN IMMEDIATE`, on PostgreSQL a lock of our own): two writers
queue and never meet half-way, so what one looked at stays true until it commits.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, event
from sqlalchemy import Engine as Engine  # for those who hold a store without knowing SQL
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlmodel import Session

from server.store.migrating import NewerDatabaseError, bring_up_to_date
from server.store.revisions import watch

BUSY_MS = 10_000
"""How long a writer waits for another one [ms]."""

_WRITES = "slowcorner_writes"

_WRITER_LOCK = 5106
"""The number of our advisory lock on PostgreSQL: any that nobody else uses."""

_DISK_FULL = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_SHMSIZE, "53100"}
"""SQLite's codes and PostgreSQL's SQLSTATE for a disk with no room left."""


class StoreError(Exception):
    """The store cannot do it; the message says what, why, and what was kept."""


class FullDisk(StoreError):  # noqa: N818 -- the state of the disk is the word callers look for
    """There is no room left on the disk: nothing of the batch was kept."""


class UnknownError(StoreError):
    """What was asked for by its id is not in the store."""


class RefusedError(StoreError):
    """What was asked contradicts what is kept: a hook that is taken, a coat too many."""


def open_store(url: str) -> Engine:
    """Open the database at that URL, making it or bringing its tables up to date.

    `engine.dispose()` closes it.

    Raises StoreError, with nothing changed, when it cannot be opened or written, or is from a newer version.
    """
    address = _address(url)
    engine = _sqlite(address) if address.get_backend_name() == "sqlite" else _other(address)
    try:
        with plain_errors(engine), _begin_writing(engine) as connection:
            bring_up_to_date(connection)
            _try_to_write(connection)
    except NewerDatabaseError as error:
        engine.dispose()
        raise StoreError(f"{_named(engine)}: {error}") from error
    except BaseException:
        engine.dispose()
        raise
    watch(engine)
    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """Read in one transaction: everything read in it was so at one moment."""
    with plain_errors(engine), Session(_for_reading(engine)) as session:
        yield session


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """Write in one transaction: it is all kept, durably, or, if anything raises, not at all.

    Raises FullDisk or StoreError where the database fails.
    """
    with plain_errors(engine), Session(_for_writing(engine)) as session, session.begin():
        yield session


@contextmanager
def plain_errors(engine: Engine) -> Iterator[None]:
    """Turn what the database raises into a StoreError that a person can act on."""
    try:
        yield
    except DBAPIError as error:
        raise _plain(engine, error) from error


def _plain(engine: Engine, error: DBAPIError) -> StoreError:
    name, cause = _named(engine), error.orig
    code = getattr(cause, "sqlite_errorcode", None) or getattr(cause, "sqlstate", None)
    primary = code & 0xFF if isinstance(code, int) else code
    if code in _DISK_FULL or primary in _DISK_FULL:
        return FullDisk(
            f"{name}: no room left on the disk; nothing of this was kept. Make room, send it again"
        )
    reasons: dict[Any, str] = {
        sqlite3.SQLITE_READONLY: "it may not be written to; see who owns the file and its folder",
        sqlite3.SQLITE_CANTOPEN: "it cannot be opened; see that its folder is there and may be written to",
        sqlite3.SQLITE_NOTADB: "the file is no database of SQLite's; it was left as it is",
        sqlite3.SQLITE_CORRUPT: "the file is damaged; restore a backup",
        sqlite3.SQLITE_BUSY: f"another program wrote for {BUSY_MS // 1000} s; nothing of this was kept",
    }
    return StoreError(f"{name}: {reasons.get(primary, cause)}")


def _named(engine: Engine) -> str:
    if engine.dialect.name == "sqlite":
        return f"database {engine.url.database}"
    return f"database {engine.url.render_as_string(hide_password=True)}"


def _address(url: str) -> URL:
    # What is no URL is shown as it came; in one that is, a password is hidden.
    shown = repr(url)
    try:
        address = make_url(url)
        shown = address.render_as_string(hide_password=True)
        address.get_dialect()
    except (ArgumentError, NoSuchModuleError):
        raise StoreError(
            f"database URL {shown} is not one like sqlite:///data/slowcorner.db or postgresql://…"
        ) from None
    return address


def _other(address: URL) -> Engine:
    try:
        engine = create_engine(address, pool_pre_ping=True)
    except ImportError as error:
        shown = address.render_as_string(hide_password=True)
        raise StoreError(f"database {shown}: its driver {error.name!r} is not installed") from error
    event.listen(engine, "begin", _begin_elsewhere)
    return engine


def _sqlite(address: URL) -> Engine:
    path = address.database
    if not path or path == ":memory:":
        raise StoreError("a database in memory keeps nothing: name a file, like sqlite:///data/slowcorner.db")
    if not path.startswith("file:"):
        folder = Path(path).parent
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"database {path}: cannot make its folder: {error.strerror}") from error
    engine = create_engine(address, connect_args={"timeout": BUSY_MS / 1000})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    # SQLAlchemy's begin event starts transactions, not the driver, which would start them late and deferred.
    connection.isolation_level = None
    cursor = connection.cursor()
    try:
        cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.execute("PRAGMA synchronous = FULL")
        (mode,) = cursor.execute("PRAGMA journal_mode = WAL").fetchone()
    finally:
        cursor.close()
    if mode != "wal":
        raise sqlite3.OperationalError(f"no write-ahead log here (journal mode {mode}): use a local disk")


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin_elsewhere(connection: Connection) -> None:
    if connection.get_execution_options().get(_WRITES, False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITER_LOCK})")


def _for_reading(engine: Engine) -> Engine:
    if engine.dialect.name == "sqlite":  # a reader of its log sees one moment anyway
        return engine
    return engine.execution_options(isolation_level="REPEATABLE READ")


def _for_writing(engine: Engine) -> Engine:
    return engine.execution_options(**{_WRITES: True})


def _try_to_write(connection: Connection) -> None:
    """Fail now where nothing can be written, not at the first reading: SQLite opens such a file silently."""
    attempt = connection.begin_nested()
    connection.exec_driver_sql("UPDATE alembic_version SET version_num = version_num")
    attempt.rollback()


@contextmanager
def _begin_writing(engine: Engine) -> Iterator[Connection]:
    with _for_writing(engine).begin() as connection:
        yield connection
