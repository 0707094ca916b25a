"""What is believed of each place, generation by generation. Kept as it was said: nothing is written over."""

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from server.store import engine as store
from server.store.tables import EnsembleRow
from server.store.values import Generation


def latest(engine: Engine, place: str) -> Generation | None:
    """The newest generation of a place; None where nothing was learned there yet."""
    with store.reading(engine) as session:
        row = _newest(session, place)
        return None if row is None else _value(row)


def generations(engine: Engine, place: str) -> list[Generation]:
    """All generations of a place, the first one first."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(EnsembleRow).where(EnsembleRow.place == place).order_by(col(EnsembleRow.generation))
        )
        return [_value(row) for row in rows]


def keep_generation(engine: Engine, new: Generation) -> Generation:
    """Keep the next generation of a place. Raises RefusedError where another came between."""
    with store.writing(engine) as session:
        newest = _newest(session, new.place)
        following = 1 if newest is None else newest.generation + 1
        if new.generation != following:
            raise store.RefusedError(
                f"place {new.place}: generation {new.generation} does not follow {following - 1}"
            )
        row = EnsembleRow(
            place=new.place,
            generation=new.generation,
            seed=new.seed,
            cause=new.cause,
            said_ms=new.said_at,
            members=new.members,
            weights=list(new.weights),
            evidence=[{"measurement": one, "disbelieved": share} for one, share in new.evidence],
        )
        session.add(row)
        session.flush()
        return _value(row)


def _newest(session: Session, place: str) -> EnsembleRow | None:
    return session.exec(
        select(EnsembleRow).where(EnsembleRow.place == place).order_by(col(EnsembleRow.generation).desc())
    ).first()


def _value(row: EnsembleRow) -> Generation:
    return Generation(
        place=row.place,
        generation=row.generation,
        seed=row.seed,
        cause=row.cause,
        said_at=row.said_ms,
        members=row.members,
        weights=tuple(row.weights),
        evidence=tuple((one["measurement"], one["disbelieved"]) for one in row.evidence),
    )
