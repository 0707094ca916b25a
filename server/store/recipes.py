"""Recipes: which coats make a shell, in order."""

from collections.abc import Sequence

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from server.store import engine as store
from server.store.tables import RecipeCoatRow, RecipeRow
from server.store.values import Recipe, RecipeCoat

KINDS: dict[str, tuple[float, float]] = {
    "prime": (0.6, 0.20),
    "backup": (1.0, 0.32),
    "seal": (0.3, 0.15),
}
"""For each kind its thickness [mm] and the water a dip brings [kg/m²]. Assumed: a shop weighs its own."""

DEFAULT_NAME = "Ten coats"
DEFAULT_KINDS = ("prime",) * 2 + ("backup",) * 7 + ("seal",)


def recipes(engine: Engine) -> list[Recipe]:
    """Every recipe, in the order they were added."""
    with store.reading(engine) as session:
        return [
            recipe_of(session, row) for row in session.exec(select(RecipeRow).order_by(col(RecipeRow.id)))
        ]


def recipe(engine: Engine, recipe_id: int) -> Recipe | None:
    """One recipe, or None where there is none of that id."""
    with store.reading(engine) as session:
        row = session.get(RecipeRow, recipe_id)
        return None if row is None else recipe_of(session, row)


def add_recipe(engine: Engine, name: str, coats: Sequence[RecipeCoat]) -> Recipe:
    """Add a recipe.

    Raises RefusedError when its name is taken, it has no coats, they are not numbered 1, 2, 3 …, or a kind is
    not one of `KINDS`.
    """
    with store.writing(engine) as session:
        return _add(session, name, coats)


def ensure_default(engine: Engine) -> Recipe:
    """The recipe "Ten coats" (2 prime, 7 backup, 1 seal; figures of `KINDS`), made once."""
    coats = [RecipeCoat(number, kind, *KINDS[kind]) for number, kind in enumerate(DEFAULT_KINDS, start=1)]
    with store.writing(engine) as session:
        row = session.exec(select(RecipeRow).where(RecipeRow.name == DEFAULT_NAME)).first()
        return _add(session, DEFAULT_NAME, coats) if row is None else recipe_of(session, row)


def recipe_of(session: Session, row: RecipeRow) -> Recipe:
    """A recipe's row and those of its coats as one value."""
    coats = session.exec(
        select(RecipeCoatRow).where(RecipeCoatRow.recipe_id == row.id).order_by(col(RecipeCoatRow.number))
    )
    return Recipe(
        row.id or 0,
        row.name,
        tuple(RecipeCoat(coat.number, coat.kind, coat.thickness_mm, coat.water_kg_m2) for coat in coats),
    )


def _add(session: Session, name: str, coats: Sequence[RecipeCoat]) -> Recipe:
    if session.exec(select(RecipeRow).where(RecipeRow.name == name)).first() is not None:
        raise store.RefusedError(f"recipe {name!r} is there already")
    if not coats:
        raise store.RefusedError(f"recipe {name!r} has no coats: it needs at least 1")
    for number, coat in enumerate(coats, start=1):
        if coat.number != number:
            raise store.RefusedError(f"recipe {name!r}: coat {number} in order is numbered {coat.number}")
        if coat.kind not in KINDS:
            raise store.RefusedError(
                f"recipe {name!r}, coat {number}: {coat.kind!r} is not one of {', '.join(KINDS)}"
            )
    row = RecipeRow(name=name)
    session.add(row)
    session.flush()
    session.add_all(
        RecipeCoatRow(
            recipe_id=row.id or 0,
            number=coat.number,
            kind=coat.kind,
            thickness_mm=coat.thickness_mm,
            water_kg_m2=coat.water_kg_m2,
        )
        for coat in coats
    )
    session.flush()
    return recipe_of(session, row)
