"""The places of the shop: where the air is measured, and where trees hang."""

from sqlalchemy import Engine
from sqlmodel import col, select

from server.store import engine as store
from server.store.revisions import kept
from server.store.tables import PlaceRow
from server.store.values import Place


def places(engine: Engine) -> list[Place]:
    """Every place, by its id."""
    return list(kept(engine, "places", (PlaceRow.__tablename__,), lambda: _places(engine)))


def _places(engine: Engine) -> list[Place]:
    with store.reading(engine) as session:
        return [_place(row) for row in session.exec(select(PlaceRow).order_by(col(PlaceRow.id)))]


def place(engine: Engine, place_id: str) -> Place | None:
    """One place, or None where there is none of that id."""
    with store.reading(engine) as session:
        row = session.get(PlaceRow, place_id)
        return None if row is None else _place(row)


def add_place(engine: Engine, new: Place) -> Place:
    """Add a place. Raises RefusedError when its id is taken."""
    with store.writing(engine) as session:
        taken = session.get(PlaceRow, new.id)
        if taken is not None:
            raise store.RefusedError(f"place {new.id!r} is there already: {taken.name}")
        session.add(PlaceRow(id=new.id, name=new.name, speed_m_s=new.speed_m_s))
    return new


def set_speed(engine: Engine, place_id: str, speed_m_s: float) -> Place:
    """Say how fast the air goes at a place's rack [m/s]. Raises UnknownError where there is no such place."""
    with store.writing(engine) as session:
        row = session.get(PlaceRow, place_id)
        if row is None:
            raise store.UnknownError(f"there is no place {place_id!r}")
        row.speed_m_s = speed_m_s
        session.add(row)
        session.flush()
        return _place(row)


def _place(row: PlaceRow) -> Place:
    return Place(row.id, row.name, row.speed_m_s)
