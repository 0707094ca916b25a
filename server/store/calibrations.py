"""Calibrations and jars of salt, as they were said. What is taken back keeps its row, with one beside it."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Literal, cast

from sqlalchemy import delete
from sqlmodel import Session, col, select

from sensors.calibration import Correction, Line
from sensors.clock import MINUTE_MS, Millis
from server.store.engine import Engine, RefusedError, UnknownError, reading, writing
from server.store.node_tables import CalibrationRow, CalibrationUndoRow, SaltJarRow
from server.store.tables import SavedStateRow

Kind = Literal["salt", "reference"]

AIRING_MS = 30 * MINUTE_MS
"""A node that comes out of a jar is left out of the air for this long still [ms]; assumed."""


@dataclass(frozen=True)
class KeptPoint:
    """A point as it was said: see `sensors.calibration.Point`; when [ms], and of which salt, "" for none."""

    said: float
    right: float
    error: float
    at: Millis
    salt: str = ""


@dataclass(frozen=True)
class Calibration:
    """A calibration of a node; see `sensors.calibration.Line`. `undone_at` is None while it stands."""

    id: int
    place: str
    node: str
    quantity: str
    from_ms: Millis
    said_ms: Millis
    kind: str
    slope: float
    shift: float
    residual: float | None
    points: tuple[KeptPoint, ...]
    note: str
    undone_at: Millis | None


@dataclass(frozen=True)
class Jar:
    """A node in a jar of salt. state: "waiting", "read" or "given_up"."""

    id: int
    place: str
    node: str
    salt: str
    begun: Millis
    ended: Millis | None
    state: str
    reading_pct: float | None
    temp_c: float | None


def calibrations(engine: Engine, place: str | None = None, node: str | None = None) -> list[Calibration]:
    """Every calibration of that place and node, also those taken back, the earliest `from_ms` first."""
    query = (
        select(CalibrationRow, CalibrationUndoRow)
        .join(CalibrationUndoRow, isouter=True)
        .order_by(col(CalibrationRow.from_ms), col(CalibrationRow.id))
    )
    if place is not None:
        query = query.where(col(CalibrationRow.place) == place)
    if node is not None:
        query = query.where(col(CalibrationRow.node) == node)
    with reading(engine) as session:
        return [_calibration(row, undo) for row, undo in session.exec(query)]


def corrections(engine: Engine, place: str) -> list[Correction]:
    """The corrections that stand in a place, for `sensors.calibration.Corrections`."""
    return [
        Correction(one.node, one.quantity, one.from_ms, one.slope, one.shift)
        for one in calibrations(engine, place)
        if one.undone_at is None
    ]


def add_calibration(
    engine: Engine,
    place: str,
    node: str,
    quantity: str,
    kind: Kind,
    line: Line,
    points: Sequence[KeptPoint],
    from_ms: Millis,
    now: Millis,
    note: str = "",
) -> Calibration:
    """Keep a calibration that holds from `from_ms` on."""
    with writing(engine) as session:
        row = CalibrationRow(
            place=place,
            node=node,
            quantity=quantity,
            from_ms=from_ms,
            said_ms=now,
            kind=kind,
            slope=line.slope,
            shift=line.shift,
            residual=line.residual,
            points=[asdict(point) for point in points],
            note=note,
        )
        session.add(row)
        forget_states(session, from_ms)
        session.flush()
        return _calibration(row, None)


def undo_calibration(engine: Engine, place: str, node: str, calibration_id: int, now: Millis) -> Calibration:
    """Take a calibration back. Raises UnknownError where that node has none of that id, or no more."""
    with writing(engine) as session:
        row = session.get(CalibrationRow, calibration_id)
        undone = session.get(CalibrationUndoRow, calibration_id)
        if row is None or (row.place, row.node) != (place, node) or undone is not None:
            raise UnknownError(f"node {node!r} at {place!r} has no calibration {calibration_id}")
        undo = CalibrationUndoRow(calibration_id=calibration_id, at_ms=now)
        session.add(undo)
        forget_states(session, row.from_ms)
        session.flush()
        return _calibration(row, undo)


def jars(engine: Engine, place: str, node: str | None = None) -> list[Jar]:
    """The jars of a place, or of one node there, the newest first."""
    query = select(SaltJarRow).where(col(SaltJarRow.place) == place).order_by(col(SaltJarRow.id).desc())
    if node is not None:
        query = query.where(col(SaltJarRow.node) == node)
    with reading(engine) as session:
        return [_jar(row) for row in session.exec(query)]


def jar_spans(engine: Engine, place: str) -> list[tuple[str, Millis, Millis | None]]:
    """When each node of a place was in a jar, and the half hour after: (node, from, to or None) [ms]."""
    return [
        (jar.node, jar.begun, None if jar.ended is None else jar.ended + AIRING_MS)
        for jar in reversed(jars(engine, place))
    ]


def begin_jar(engine: Engine, place: str, node: str, salt: str, now: Millis) -> Jar:
    """A node goes into a jar. Raises RefusedError where it is in one."""
    with writing(engine) as session:
        inside = _waiting(session, place, node)
        if inside is not None:
            raise RefusedError(f"node {node!r} is in the jar of {inside.salt} already: read it or give it up")
        forget_states(session, now)
        row = SaltJarRow(place=place, node=node, salt=salt, begun_ms=now, state="waiting")
        session.add(row)
        session.flush()
        return _jar(row)


def end_jar(
    engine: Engine, place: str, node: str, now: Millis, read: tuple[float, float] | None = None
) -> Jar:
    """A node comes out, `read` at a humidity [%RH] and temperature [°C], or given up where None.

    Raises UnknownError where it is in no jar.
    """
    with writing(engine) as session:
        row = _waiting(session, place, node)
        if row is None:
            raise UnknownError(f"node {node!r} at {place!r} is in no jar")
        row.ended_ms, row.state = now, "given_up" if read is None else "read"
        if read is not None:
            row.reading_pct, row.temp_c = read
        session.add(row)
        session.flush()
        return _jar(row)


def forget_states(session: Session, since: Millis) -> None:
    """Let go of saved states of `since` and later [ms]: a restart must not take up what other air judged.

    Judging it again costs only time.
    """
    session.execute(delete(SavedStateRow).where(col(SavedStateRow.as_of_ms) >= since))


def _waiting(session: Session, place: str, node: str) -> SaltJarRow | None:
    return session.exec(
        select(SaltJarRow).where(
            col(SaltJarRow.place) == place,
            col(SaltJarRow.node) == node,
            col(SaltJarRow.state) == "waiting",
        )
    ).first()


def _jar(row: SaltJarRow) -> Jar:
    return Jar(
        row.id or 0,
        row.place,
        row.node,
        row.salt,
        row.begun_ms,
        row.ended_ms,
        row.state,
        row.reading_pct,
        row.temp_c,
    )


def _calibration(row: CalibrationRow, undo: CalibrationUndoRow | None) -> Calibration:
    return Calibration(
        row.id or 0,
        row.place,
        row.node,
        row.quantity,
        row.from_ms,
        row.said_ms,
        cast(Kind, row.kind),
        row.slope,
        row.shift,
        row.residual,
        tuple(KeptPoint(**point) for point in row.points),
        row.note,
        None if undo is None else undo.at_ms,
    )
