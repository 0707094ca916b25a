"""Measurements: what people weighed, felt, saw and read on trees, and what was taken back."""

from collections.abc import Iterable

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.tables import MeasurementRow, MeasurementUndoRow, TreeRow
from server.store.trees import on_rack
from server.store.values import MeasuredKind, Measurement, NewMeasurement

_KINDS: dict[str, MeasuredKind] = {
    "weighing": "weighing",
    "surface_temp": "surface_temp",
    "touch": "touch",
    "colour": "colour",
}


def measurements(engine: Engine, tree_id: int) -> list[Measurement]:
    """Everything that was measured on a tree, undone ones too, by time."""
    with store.reading(engine) as session:
        return _all(session, MeasurementRow.tree_id == tree_id)


def place_measurements(engine: Engine, place: str) -> list[Measurement]:
    """What stands of all that was measured on trees of a place, on the rack or off it, by time."""
    with store.reading(engine) as session:
        here = select(TreeRow.id).where(TreeRow.place == place)
        found = _all(session, col(MeasurementRow.tree_id).in_(here))
        return [one for one in found if one.undone_at is None]


def add_measurement(engine: Engine, new: NewMeasurement) -> tuple[Measurement, bool]:
    """Keep a measurement; the same key again gives the first one. Also says whether it is a new one.

    Raises UnknownError where there is no such tree, RefusedError where it is off the rack.
    """
    with store.writing(engine) as session:
        if new.key is not None:
            first = session.exec(
                select(MeasurementRow).where(
                    MeasurementRow.tree_id == new.tree_id, MeasurementRow.key == new.key
                )
            ).first()
            if first is not None:
                return _all(session, MeasurementRow.id == first.id)[0], False
        on_rack(session, new.tree_id)
        row = MeasurementRow(
            tree_id=new.tree_id,
            kind=new.kind,
            at_ms=new.at,
            said_ms=new.said_at,
            spot=new.spot,
            value=new.value,
            reference_c=new.reference_c,
            word=new.word,
            key=new.key,
        )
        session.add(row)
        session.flush()
        return _all(session, MeasurementRow.id == row.id)[0], True


def undo_measurement(engine: Engine, tree_id: int, measurement_id: int, at: Millis) -> Measurement:
    """Take a measurement back; once more changes nothing. Raises UnknownError."""
    with store.writing(engine) as session:
        found = _all(session, MeasurementRow.id == measurement_id)
        if not found or found[0].tree_id != tree_id:
            raise store.UnknownError(f"tree {tree_id} has no measurement {measurement_id}")
        if found[0].undone_at is None:
            session.add(MeasurementUndoRow(measurement_id=measurement_id, at_ms=at))
            session.flush()
        return _all(session, MeasurementRow.id == measurement_id)[0]


def _all(session: Session, which: object) -> list[Measurement]:
    rows = session.exec(
        select(MeasurementRow, MeasurementUndoRow)
        .outerjoin(MeasurementUndoRow, col(MeasurementUndoRow.measurement_id) == col(MeasurementRow.id))
        .where(which)  # type: ignore[arg-type]
        .order_by(col(MeasurementRow.at_ms), col(MeasurementRow.id))
    )
    return list(_values(rows))


def _values(rows: Iterable[tuple[MeasurementRow, MeasurementUndoRow | None]]) -> Iterable[Measurement]:
    for row, undo in rows:
        yield Measurement(
            id=row.id or 0,
            tree_id=row.tree_id,
            kind=_KINDS[row.kind],
            at=row.at_ms,
            said_at=row.said_ms,
            spot=row.spot,
            value=row.value,
            reference_c=row.reference_c,
            word=row.word,
            undone_at=None if undo is None else undo.at_ms,
        )
