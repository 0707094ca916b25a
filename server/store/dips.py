"""Dips: which coats went on, and which were taken back. What was said is kept; the numbers are derived."""

from collections.abc import Iterable

from sqlalchemy import Engine, func
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.tables import DipRow, DipUndoRow, RecipeCoatRow, TreeRow
from server.store.trees import on_rack
from server.store.values import Dip, NewDip


def dips(engine: Engine, tree_id: int) -> list[Dip]:
    """The coats that are on, in order: coat 1 first."""
    return [dip for dip in all_dips(engine, tree_id) if dip.undone_at is None]


def all_dips(engine: Engine, tree_id: int) -> list[Dip]:
    """Every dip that was said, undone ones too, by time."""
    with store.reading(engine) as session:
        return _all(session, tree_id)


def dip_with_key(engine: Engine, tree_id: int, key: str) -> Dip | None:
    """The dip of a tree that was said under a key, undone or not; None where there is none."""
    with store.reading(engine) as session:
        row = session.exec(select(DipRow).where(DipRow.tree_id == tree_id, DipRow.key == key)).first()
        return None if row is None else _one(session, tree_id, row.id)


def said_under(engine: Engine, key: str) -> bool:
    """Whether a dip of any tree was said under this key, undone or not."""
    with store.reading(engine) as session:
        return session.exec(select(DipRow.id).where(DipRow.key == key)).first() is not None


def add_dip(engine: Engine, new: NewDip) -> Dip:
    """Record that the next coat went on; the same key again gives the dip that it was first said for.

    Raises UnknownError where there is no such tree, RefusedError where it is off the rack or has all coats.
    """
    with store.writing(engine) as session:
        if new.key is not None:
            first = session.exec(
                select(DipRow).where(DipRow.tree_id == new.tree_id, DipRow.key == new.key)
            ).first()
            if first is not None:
                return _one(session, new.tree_id, first.id)
        tree = on_rack(session, new.tree_id)
        _look_for_coat_left(session, tree)
        row = DipRow(
            tree_id=new.tree_id,
            at_ms=new.at,
            said_ms=new.said_at,
            pot=new.pot,
            prewet=new.prewet,
            partial=new.partial,
            note=new.note,
            key=new.key,
        )
        session.add(row)
        session.flush()
        return _one(session, new.tree_id, row.id)


def undo_dip(engine: Engine, tree_id: int, dip_id: int, at: Millis) -> Dip:
    """Take back the latest dip of a tree; once more changes nothing.

    Raises UnknownError where the tree has no such dip, RefusedError where a later coat is on it.
    """
    with store.writing(engine) as session:
        said = _all(session, tree_id)
        dip = next((one for one in said if one.id == dip_id), None)
        if dip is None:
            raise store.UnknownError(f"tree {tree_id} has no dip {dip_id}")
        if dip.undone_at is not None:
            return dip
        latest = [one for one in said if one.undone_at is None][-1]
        if latest.id != dip_id:
            raise store.RefusedError(
                f"coat {dip.coat} cannot be undone: coat {latest.coat} is on it; undo that one first"
            )
        session.add(DipUndoRow(dip_id=dip_id, at_ms=at))
        session.flush()
        return _one(session, tree_id, dip_id)


def _look_for_coat_left(session: Session, tree: TreeRow) -> None:
    coats = session.exec(
        select(func.count()).select_from(RecipeCoatRow).where(RecipeCoatRow.recipe_id == tree.recipe_id)
    ).one()
    on = sum(1 for dip in _all(session, tree.id or 0) if dip.undone_at is None)
    if on >= coats:
        raise store.RefusedError(f"{tree.label} has all its {coats} coats")


def _one(session: Session, tree_id: int, dip_id: int | None) -> Dip:
    return next(dip for dip in _all(session, tree_id) if dip.id == dip_id)


def _all(session: Session, tree_id: int) -> list[Dip]:
    rows = session.exec(
        select(DipRow, DipUndoRow)
        .outerjoin(DipUndoRow, col(DipUndoRow.dip_id) == col(DipRow.id))
        .where(DipRow.tree_id == tree_id)
        .order_by(col(DipRow.at_ms), col(DipRow.id))
    )
    return list(_numbered(rows))


def _numbered(rows: Iterable[tuple[DipRow, DipUndoRow | None]]) -> Iterable[Dip]:
    coats_on = 0
    for row, undo in rows:
        yield Dip(
            id=row.id or 0,
            tree_id=row.tree_id,
            coat=coats_on + 1,
            at=row.at_ms,
            said_at=row.said_ms,
            pot=row.pot,
            prewet=row.prewet,
            partial=row.partial,
            note=row.note,
            undone_at=None if undo is None else undo.at_ms,
        )
        if undo is None:
            coats_on += 1
