"""What was read of the store and is asked for again and again, kept until a table that it came from is
written to.

A page of forty trees reads a few hundred rows that change a few times a day. Each row that is read lets
another thread of Python in, and while the judge is at work that costs far more than the reading: so what did
not change is not read again.
"""

import re
import time
from collections import Counter
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from threading import Lock
from typing import Any, TypeVar, cast
from weakref import WeakValueDictionary

from sqlalchemy import Connection, Engine, event

LONGEST_KEPT_S = 10.0
"""What another process wrote is seen after so long at the latest [s of the wall]; ours is seen at once."""

MOST_KEPT = 1000
"""So many answers are kept; with more all are let go of."""

_WRITTEN = "slowcorner_written"
_READS = re.compile(r"\s*(SELECT|BEGIN|PRAGMA|SAVEPOINT|RELEASE|ROLLBACK)\b", re.IGNORECASE)
_WRITES = re.compile(
    r"\s*(?:INSERT(?:\s+OR\s+\w+)?\s+INTO|UPDATE|DELETE\s+FROM)\s+[\"`]?(\w+)", re.IGNORECASE
)

T = TypeVar("T")


@dataclass(frozen=True)
class _Answer:
    revision: tuple[int, ...]
    read_at_s: float
    value: object


class Revisions:
    """How often each table of one database was written to by this process, and what was read of them."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._counts: Counter[str] = Counter()
        self._unknown = 0
        self._answers: dict[Hashable, _Answer] = {}

    def of(self, *tables: str) -> tuple[int, ...]:
        """Another value after each write to one of these tables that is on the disk."""
        return (self._unknown, *(self._counts[table] for table in tables))

    def written(self, tables: set[str]) -> None:
        """These were written to; "" stands for a write that could not be told."""
        with self._lock:
            self._counts.update(tables)
            self._unknown += "" in tables

    def kept(self, key: Hashable, tables: tuple[str, ...], read: Callable[[], T]) -> T:
        """What was read under this key, unless one of the tables was written to since."""
        now_s, revision = time.monotonic(), self.of(*tables)
        known = self._answers.get(key)
        if known is None or known.revision != revision or now_s - known.read_at_s > LONGEST_KEPT_S:
            # The revision is older than what is read: a write in between has it read once more.
            known = _Answer(revision, now_s, read())
            if len(self._answers) >= MOST_KEPT:
                self._answers.clear()
            self._answers[key] = known
        return cast(T, known.value)


_OPEN: WeakValueDictionary[str, Revisions] = WeakValueDictionary()
"""By address: whoever opens the same database shares them."""


def watch(engine: Engine) -> None:
    """Count from now on what is written to through this engine."""
    revisions = _OPEN.setdefault(_address(engine), Revisions())
    revisions.written({""})  # the database at this address may be another one than before

    def note(connection: Connection, _cursor: object, statement: str, *_: object) -> None:
        if not _READS.match(statement):
            found = _WRITES.match(statement)
            connection.info.setdefault(_WRITTEN, set()).add(found[1].lower() if found else "")

    def over(_connection: object, record: Any) -> None:
        # A connection comes back after its commit and before whoever wrote goes on.
        tables = record.info.pop(_WRITTEN, None)
        if tables:
            revisions.written(tables)

    event.listen(engine, "before_cursor_execute", note)
    event.listen(engine, "checkin", over)


def kept(engine: Engine, key: Hashable, tables: tuple[str, ...], read: Callable[[], T]) -> T:
    """What `read` told of these tables, asked once until one of them is written to.

    `key` names what is read. Callers share the value and must not change it. An engine that nobody watches
    is asked each time.
    """
    revisions = _OPEN.get(_address(engine))
    return read() if revisions is None else revisions.kept(key, tables, read)


def revision_of(engine: Engine, *tables: str) -> tuple[int, ...] | None:
    """Another value after each write to one of these tables; None where nobody counts them."""
    revisions = _OPEN.get(_address(engine))
    return None if revisions is None else revisions.of(*tables)


def _address(engine: Engine) -> str:
    return str(engine.url)
