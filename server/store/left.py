"""Trees that left the rack: which they are, how each left, and hanging a scrapped one again."""

from dataclasses import dataclass

from sqlalchemy import Engine
from sqlmodel import col, func, select

from sensors.clock import Millis
from server.store import engine as store
from server.store import trees
from server.store.tables import DipRow, DipUndoRow, TreeEventRow, TreeRow
from server.store.values import Tree

_WAYS = ("cleared", "scrapped")


@dataclass(frozen=True)
class Left:
    """A tree off the rack: how and when it left [shop ms], who said so and why; its coats that stand."""

    tree_id: int
    label: str
    place: str
    how: str
    at: Millis
    who: str
    why: str
    coats: int


def left(engine: Engine, most: int = 200) -> list[Left]:
    """The trees that left the rack, the one that left last first."""
    with store.reading(engine) as session:
        latest = (
            select(func.max(TreeEventRow.id))
            .where(col(TreeEventRow.kind).in_(_WAYS))
            .group_by(col(TreeEventRow.tree_id))
        )
        rows = session.exec(
            select(TreeRow, TreeEventRow)
            .join(TreeEventRow, col(TreeEventRow.tree_id) == col(TreeRow.id))
            .where(TreeRow.left_how != "", col(TreeEventRow.id).in_(latest))
            .order_by(col(TreeEventRow.id).desc())
            .limit(most)
        ).all()
        ids = [row.id for row, _ in rows]
        counts = dict(
            session.exec(
                select(DipRow.tree_id, func.count())
                .outerjoin(DipUndoRow, col(DipUndoRow.dip_id) == col(DipRow.id))
                .where(col(DipRow.tree_id).in_(ids), col(DipUndoRow.dip_id).is_(None))
                .group_by(col(DipRow.tree_id))
            ).all()
        )
        return [
            Left(
                row.id or 0,
                row.label,
                row.place,
                row.left_how,
                event.at_ms,
                str(event.payload.get("who") or ""),
                str(event.payload.get("why") or ""),
                counts.get(row.id or 0, 0),
            )
            for row, event in rows
        ]


def hang_again(engine: Engine, tree_id: int, hook: str, now: Millis) -> Tree:
    """Hang a tree that was scrapped on the rack again, at the place it hung.

    Raises UnknownError, or RefusedError where it was not scrapped, or its hook is taken.
    """
    with store.writing(engine) as session:
        row = session.get(TreeRow, tree_id)
        if row is None:
            raise store.UnknownError(f"there is no tree {tree_id}")
        if row.left_how != "scrapped":
            how = f"it was {row.left_how}" if row.left_how else "it hangs on the rack"
            raise store.RefusedError(f"{row.label} cannot be hung again: {how}")
        trees.look_at_hook(session, hook, tree_id)
        row.left_how, row.hook = "", hook
        session.add(row)
        for kind, said in (("hung again", {}), ("amended", {"place": row.place, "hook": hook})):
            session.add(TreeEventRow(tree_id=tree_id, kind=kind, at_ms=now, said_ms=now, payload=said))
        session.flush()
    found = trees.tree(engine, tree_id)
    assert found is not None
    return found
