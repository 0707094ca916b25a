"""What was hung before: the newest trees, to hang another like one, and the hooks the shop has used."""

from dataclasses import dataclass

from sqlalchemy import Engine
from sqlmodel import col, func, select

from server.store import engine as store
from server.store import trees
from server.store.tables import TreeRow
from server.store.values import Tree


@dataclass(frozen=True)
class Hook:
    """A hook by its name, and whether a tree hangs there now."""

    name: str
    taken: bool


def newest(engine: Engine, most: int) -> list[Tree]:
    """The trees that were hung last, on the rack or off it, the newest first."""
    with store.reading(engine) as session:
        ids = session.exec(select(TreeRow.id).order_by(col(TreeRow.id).desc()).limit(most)).all()
    found = (trees.tree(engine, tree_id or 0) for tree_id in ids)
    return [tree for tree in found if tree is not None]


def hooks(engine: Engine) -> list[Hook]:
    """Every hook that a tree ever hung on, the one used last first."""
    with store.reading(engine) as session:
        taken = set(session.exec(select(TreeRow.hook).where(TreeRow.left_how == "")))
        last = func.max(TreeRow.id)
        names = session.exec(
            select(TreeRow.hook).where(TreeRow.hook != "").group_by(TreeRow.hook).order_by(last.desc())
        ).all()
    return [Hook(name, name in taken) for name in names]
