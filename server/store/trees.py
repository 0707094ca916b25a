"""Trees: what hangs on the rack, and everything that was said of each, as it came."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Literal

from sqlalchemy import ColumnElement, Engine, func, true
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.recipes import recipe_of
from server.store.revisions import kept
from server.store.tables import (
    DipRow,
    DipUndoRow,
    PlaceRow,
    RecipeCoatRow,
    RecipeRow,
    SettingRow,
    TreeEventRow,
    TreeRow,
    TreeSpotRow,
)
from server.store.values import NewTree, Recipe, Tree, TreeEvent, TreeSpot

RESTING_HOURS = 24.0
"""How long a tree rests after its last coat, unless the shop says otherwise [h]."""

_OF_TREES = tuple(row.__tablename__ for row in (TreeRow, TreeSpotRow, RecipeRow, RecipeCoatRow))

RACK_TABLES = (*_OF_TREES, PlaceRow.__tablename__, SettingRow.__tablename__)
"""What the rack's page is read from, beside the verdicts."""


def rack(engine: Engine) -> list[Tree]:
    """The trees on the rack, in the order they were hung."""
    return list(kept(engine, "rack", _OF_TREES, lambda: _rack(engine)))


def _rack(engine: Engine) -> list[Tree]:
    with store.reading(engine) as session:
        return _trees(session, col(TreeRow.left_how) == "")


def ever(engine: Engine) -> list[Tree]:
    """Every tree that was ever hung, on the rack or off it, in the order they were hung."""
    with store.reading(engine) as session:
        return _trees(session, true())


def tree(engine: Engine, tree_id: int) -> Tree | None:
    """One tree, on the rack or off it; None where there is none of that id."""
    with store.reading(engine) as session:
        row = session.get(TreeRow, tree_id)
        return None if row is None else _tree(session, row)


def add_tree(engine: Engine, new: NewTree, now: Millis, resting_hours: float = RESTING_HOURS) -> Tree:
    """Hang a tree on the rack; after its last coat it rests so many hours.

    Raises RefusedError when its hook is taken, or UnknownError when its place or recipe is not there.
    """
    with store.writing(engine) as session:
        _look_for_place(session, new.place)
        if session.get(RecipeRow, new.recipe_id) is None:
            raise store.UnknownError(f"there is no recipe {new.recipe_id}")
        look_at_hook(session, new.hook, None)
        row = TreeRow(
            label=new.label,
            hook=new.hook,
            place=new.place,
            recipe_id=new.recipe_id,
            size_mm=new.size_mm,
            area_m2=new.area_m2,
            wax_kg=new.wax_kg,
            resting_hours=resting_hours,
            created_ms=now,
        )
        session.add(row)
        session.flush()
        _set_spots(session, row, new.spots)
        _event(session, row, "added", now, now, asdict(new))
        return _tree(session, row)


def amend_tree(
    engine: Engine,
    tree_id: int,
    *,
    now: Millis,
    label: str | None = None,
    hook: str | None = None,
    place: str | None = None,
    size_mm: float | None = None,
    spots: Sequence[TreeSpot] | None = None,
    recipe: int | None = None,
) -> Tree:
    """Change what is said here of a tree on the rack, and leave the rest as it is.

    Another recipe (its id) must have the coats that are on as they are: nothing judged changes by it.
    Raises UnknownError or RefusedError, naming the thing, when it cannot be so.
    """
    said = {"label": label, "hook": hook, "place": place, "size_mm": size_mm, "recipe_id": recipe}
    changed: dict[str, Any] = {name: value for name, value in said.items() if value is not None}
    with store.writing(engine) as session:
        row = on_rack(session, tree_id)
        if place is not None:
            _look_for_place(session, place)
        if hook is not None:
            look_at_hook(session, hook, tree_id)
        if recipe is not None:
            _look_at_recipe(session, row, recipe)
        for name, value in changed.items():
            setattr(row, name, value)
        session.add(row)
        if spots is not None:
            changed["spots"] = [asdict(spot) for spot in spots]
            _set_spots(session, row, spots)
        if changed:
            _event(session, row, "amended", now, now, changed)
        session.flush()
        return _tree(session, row)


def take_off(
    engine: Engine,
    tree_id: int,
    how: Literal["cleared", "scrapped"],
    at: Millis,
    who: str,
    why: str,
    said_at: Millis | None = None,
) -> Tree:
    """Record that a person took a tree off the rack, and why. Its hook is free again.

    Raises UnknownError where there is no such tree, RefusedError where it is off the rack already.
    """
    with store.writing(engine) as session:
        row = on_rack(session, tree_id)
        row.left_how = how
        session.add(row)
        _event(session, row, how, at, at if said_at is None else said_at, {"who": who, "why": why})
        session.flush()
        return _tree(session, row)


def events(engine: Engine, tree_id: int) -> list[TreeEvent]:
    """Everything said of a tree itself (its dips are in `dips`), in the order it was said."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(TreeEventRow).where(TreeEventRow.tree_id == tree_id).order_by(col(TreeEventRow.id))
        )
        return [TreeEvent(row.kind, row.at_ms, row.said_ms, row.payload) for row in rows]


def on_rack(session: Session, tree_id: int) -> TreeRow:
    """The row of a tree that hangs on the rack; raises UnknownError or RefusedError where it does not."""
    row = session.get(TreeRow, tree_id)
    if row is None:
        raise store.UnknownError(f"there is no tree {tree_id}")
    if row.left_how:
        raise store.RefusedError(f"{row.label} is off the rack: it was {row.left_how}")
    return row


def _trees(session: Session, which: ColumnElement[bool]) -> list[Tree]:
    """Trees by a condition on their rows, in the order they were hung. Spots and recipes are read at once."""
    rows = session.exec(select(TreeRow).where(which).order_by(col(TreeRow.id))).all()
    of_these = col(TreeSpotRow.tree_id).in_(select(TreeRow.id).where(which))
    spots: dict[int, list[TreeSpotRow]] = {}
    for spot in session.exec(select(TreeSpotRow).where(of_these).order_by(col(TreeSpotRow.position))):
        spots.setdefault(spot.tree_id, []).append(spot)
    recipes = {recipe_id: _recipe(session, recipe_id) for recipe_id in {row.recipe_id for row in rows}}
    return [_tree_of(row, spots.get(row.id or 0, ()), recipes[row.recipe_id]) for row in rows]


def _tree(session: Session, row: TreeRow) -> Tree:
    spots = session.exec(
        select(TreeSpotRow).where(TreeSpotRow.tree_id == row.id).order_by(col(TreeSpotRow.position))
    )
    return _tree_of(row, spots.all(), _recipe(session, row.recipe_id))


def _tree_of(row: TreeRow, spots: Sequence[TreeSpotRow], recipe: Recipe) -> Tree:
    return Tree(
        id=row.id or 0,
        label=row.label,
        hook=row.hook,
        place=row.place,
        recipe=recipe,
        size_mm=row.size_mm,
        area_m2=row.area_m2,
        wax_kg=row.wax_kg,
        spots=tuple(TreeSpot(spot.code, spot.name) for spot in spots),
        created_at=row.created_ms,
        left=row.left_how,
        resting_hours=row.resting_hours,
    )


def _look_at_recipe(session: Session, row: TreeRow, recipe_id: int) -> None:
    """Raises UnknownError or RefusedError where a tree cannot go on by that recipe."""
    if session.get(RecipeRow, recipe_id) is None:
        raise store.UnknownError(f"there is no recipe {recipe_id}")
    on = session.exec(
        select(func.count(col(DipRow.id)))
        .outerjoin(DipUndoRow, col(DipUndoRow.dip_id) == col(DipRow.id))
        .where(DipRow.tree_id == row.id, col(DipUndoRow.dip_id).is_(None))
    ).one()
    new, old = _recipe(session, recipe_id), _recipe(session, row.recipe_id)
    if len(new.coats) < on:
        raise store.RefusedError(
            f"{row.label} has {on} coats on, and recipe {new.name!r} only {len(new.coats)}"
        )
    for was, would in zip(old.coats[:on], new.coats[:on], strict=True):
        if was != would:
            raise store.RefusedError(
                f"{row.label} cannot go on by recipe {new.name!r}: "
                f"its coat {was.number} is on, and is another there"
            )


def _recipe(session: Session, recipe_id: int) -> Recipe:
    row = session.get_one(RecipeRow, recipe_id)
    return recipe_of(session, row)


def _set_spots(session: Session, row: TreeRow, spots: Sequence[TreeSpot]) -> None:
    for old in session.exec(select(TreeSpotRow).where(TreeSpotRow.tree_id == row.id)):
        session.delete(old)
    session.flush()
    session.add_all(
        TreeSpotRow(tree_id=row.id or 0, position=position, code=spot.code, name=spot.name)
        for position, spot in enumerate(spots)
    )
    session.flush()


def _event(
    session: Session, row: TreeRow, kind: str, at: Millis, said_at: Millis, payload: dict[str, Any]
) -> None:
    session.add(TreeEventRow(tree_id=row.id or 0, kind=kind, at_ms=at, said_ms=said_at, payload=payload))


def _look_for_place(session: Session, place: str) -> None:
    if session.get(PlaceRow, place) is None:
        raise store.UnknownError(f"there is no place {place!r}")


def look_at_hook(session: Session, hook: str, tree_id: int | None) -> None:
    """Raise RefusedError when another tree hangs there. A tree with no hook ("") is in nobody's way."""
    if not hook:
        return
    other = session.exec(select(TreeRow).where(TreeRow.hook == hook, TreeRow.left_how == "")).first()
    if other is not None and other.id != tree_id:
        raise store.RefusedError(f"hook {hook} is taken: {other.label} hangs there")
