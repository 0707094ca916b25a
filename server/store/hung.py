"""What was hung before: the newest trees, to hang another like one, and the hooks the shop has used."""

from dataclasses import dataclass

from sqlalchemy import Engine
from sqlmodel import col, func, select

from server.store import engine as store
from server.store import trees
from server.store.tables import TreeRow, TreeSpotRow
from server.store.values import Tree


@dataclass(frozen=True)
class Hook:
    """A hook by its name, and whether a tree hangs there now."""

    name: str
    taken: bool


@dataclass(frozen=True)
class Hung:
    """A tree that was hung once, in short: its spots by their names; `left` as in `Tree`."""

    id: int
    label: str
    left: str
    spots: tuple[str, ...]


def last(engine: Engine) -> Tree | None:
    """The tree that was hung last, on the rack or off it; None before the first one."""
    with store.reading(engine) as session:
        newest_id = session.exec(select(func.max(TreeRow.id))).one()
    return None if newest_id is None else trees.tree(engine, newest_id)


def newest(engine: Engine, most: int) -> list[Hung]:
    """The trees that were hung last, on the rack or off it, the newest first."""
    with store.reading(engine) as session:
        rows = session.exec(select(TreeRow).order_by(col(TreeRow.id).desc()).limit(most)).all()
        spots: dict[int, list[str]] = {row.id or 0: [] for row in rows}
        for spot in session.exec(
            select(TreeSpotRow)
            .where(col(TreeSpotRow.tree_id).in_(spots))
            .order_by(col(TreeSpotRow.tree_id), col(TreeSpotRow.position))
        ):
            spots[spot.tree_id].append(spot.name)
        return [Hung(row.id or 0, row.label, row.left_how, tuple(spots[row.id or 0])) for row in rows]


def hooks(engine: Engine) -> list[Hook]:
    """Every hook that a tree ever hung on, the one used last first."""
    with store.reading(engine) as session:
        taken = set(session.exec(select(TreeRow.hook).where(TreeRow.left_how == "")))
        last = func.max(TreeRow.id)
        names = session.exec(
            select(TreeRow.hook).where(TreeRow.hook != "").group_by(TreeRow.hook).order_by(last.desc())
        ).all()
    return [Hook(name, name in taken) for name in names]
