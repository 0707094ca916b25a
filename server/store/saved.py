"""Saved states of the model: a cache. Emptied, it changes nothing but the time to start."""

from collections.abc import Iterable, Sequence

from sqlalchemy import ColumnElement, Engine, delete
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.inserting import insert_into
from server.store.tables import SavedStateRow

SavedState = tuple[Millis, str, bytes]
"""As of, key, blob."""


def save_state(engine: Engine, tree_id: int, as_of: Millis, key: str, blob: bytes) -> None:
    """Save one state; one of the same tree, key and time is written over."""
    save_states(engine, [(tree_id, as_of, key, blob)])


def save_states(engine: Engine, states: Iterable[tuple[int, Millis, str, bytes]]) -> None:
    """Save many states (tree id, as of, key, blob) in one transaction."""
    with store.writing(engine) as session:
        _save(session, states)


def replace_states(engine: Engine, trees: Iterable[tuple[int, Millis | None, Sequence[SavedState]]]) -> None:
    """For each tree (id, kept until, states) put these in place of all later than `kept until`, or of all.

    In one transaction: a reader never finds a tree between its old states and its new ones.
    """
    with store.writing(engine) as session:
        for tree_id, kept_until, states in trees:
            later = () if kept_until is None else (col(SavedStateRow.as_of_ms) > kept_until,)
            _delete(session, tree_id, *later)
            _save(session, [(tree_id, *state) for state in states])


def saved_states(engine: Engine, tree_id: int) -> list[SavedState]:
    """The states of a tree (as of, key, blob), by time and key."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(SavedStateRow)
            .where(SavedStateRow.tree_id == tree_id)
            .order_by(col(SavedStateRow.as_of_ms), col(SavedStateRow.key))
        )
        return [(row.as_of_ms, row.key, row.blob) for row in rows]


def forget_states(engine: Engine, tree_id: int, from_time: Millis) -> None:
    """Forget a tree's states of that time and later: something new was said of the time before them."""
    with store.writing(engine) as session:
        _delete(session, tree_id, col(SavedStateRow.as_of_ms) >= from_time)


def _save(session: Session, states: Iterable[tuple[int, Millis, str, bytes]]) -> None:
    rows = [
        {"tree_id": tree_id, "as_of_ms": as_of, "key": key, "blob": blob}
        for tree_id, as_of, key, blob in states
    ]
    if not rows:
        return
    insert = insert_into(session, SavedStateRow)
    session.connection().execute(
        insert.on_conflict_do_update(
            index_elements=["tree_id", "key", "as_of_ms"], set_={"blob": insert.excluded.blob}
        ),
        rows,
    )


def _delete(session: Session, tree_id: int, *which: ColumnElement[bool]) -> None:
    session.connection().execute(delete(SavedStateRow).where(col(SavedStateRow.tree_id) == tree_id, *which))
