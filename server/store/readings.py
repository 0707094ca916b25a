"""Readings as nodes said them, what was kept out of them, and which nodes were heard."""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, Engine, func
from sqlmodel import Session, col, select

from sensors.clock import HOUR_MS, Millis
from sensors.reading import NodeStatus, Reading, Rejected
from server.store import engine as store
from server.store.first_readings import keep_firsts
from server.store.inserting import insert_into, table_of
from server.store.tables import NodeStatusRow, ReadingRow, RejectedRow, SeriesRow
from server.store.values import BatchOutcome, KeptRejection, Node

AIR = ("temperature", "humidity")
"""What the air record is made of."""


def keep(
    engine: Engine,
    readings: Sequence[Reading],
    rejected: Sequence[Rejected],
    statuses: Sequence[NodeStatus],
    arrived: Millis,
) -> BatchOutcome:
    """Keep a batch in one transaction: all of it is on the disk when this returns, or none of it.

    Of several readings with one key (place, node, name, time) the first one stays, whatever its unit.
    """
    with store.writing(engine) as session:
        new, earliest = keep_firsts(engine, session, readings, arrived)
        _keep_rejected(session, rejected)
        _keep_statuses(session, statuses)
    return BatchOutcome(new, len(readings) - new, len(rejected), earliest)


def place_readings(
    engine: Engine,
    place: str,
    start: Millis,
    end: Millis,
    names: Sequence[str] = AIR,
    *,
    arrived_from: Millis | None = None,
    arrived_before: Millis | None = None,
) -> list[Reading]:
    """What the nodes of a place said of start ≤ time < end, by time, node and name.

    Only what came at `arrived_from` or later and before `arrived_before`, where these are given.
    """
    where = [col(SeriesRow.place) == place, col(SeriesRow.name).in_(names), *_between(start, end)]
    if arrived_from is not None:
        where.append(col(ReadingRow.arrived_ms) >= arrived_from)
    if arrived_before is not None:
        where.append(col(ReadingRow.arrived_ms) < arrived_before)
    with store.reading(engine) as session:
        return _readings(session, *where)


def hourly_readings(engine: Engine, place: str, start: Millis, end: Millis) -> list[Reading]:
    """Means of whole hours of what a place's nodes said of its air, start ≤ time < end, by time and node.

    A mean has the time of its hour's middle; readings of a node in two units stay apart.
    """
    series, reading = table_of(SeriesRow).c, table_of(ReadingRow).c
    of_hour = (reading.time_ms // HOUR_MS).label("of_hour")
    query = (
        table_of(SeriesRow)
        .join(table_of(ReadingRow))
        .select()
        .with_only_columns(
            series.place, series.node, series.name, series.unit, func.avg(reading.value), of_hour
        )
        .where(series.place == place, series.name.in_(AIR), *_between(start, end))
        .group_by(series.place, series.node, series.name, series.unit, of_hour)
        .order_by(of_hour, series.node, series.name, series.unit)
    )
    with store.reading(engine) as session:
        rows = session.connection().execute(query)
        return [
            Reading(where, node, name, unit, value, hour * HOUR_MS + HOUR_MS // 2)
            for where, node, name, unit, value, hour in rows
        ]


def node_readings(
    engine: Engine, node: str, start: Millis, end: Millis, limit: int | None = None
) -> list[Reading]:
    """What a node said of start ≤ time < end, by time and name; the first `limit` of it."""
    with store.reading(engine) as session:
        return _readings(session, col(SeriesRow.node) == node, *_between(start, end), limit=limit)


def nodes(engine: Engine) -> list[Node]:
    """Every node that was ever heard, by place and name. `last_heard` is the latest time that it spoke of."""
    with store.reading(engine) as session:
        said = {(row.place, row.node): row for row in session.exec(select(NodeStatusRow))}
        heard = _latest_times(session)
    known: list[Node] = []
    for place, node in sorted(said.keys() | heard.keys()):
        row, last = said.get((place, node)), heard.get((place, node))
        if row is not None:
            last = row.at_ms if last is None else max(last, row.at_ms)
        status = "unheard" if row is None else "online" if row.online else "offline"
        known.append(Node(place, node, status, last))
    return known


def latest_times(engine: Engine) -> dict[tuple[str, str], Millis]:
    """The time of the latest reading of each (place, node)."""
    with store.reading(engine) as session:
        return _latest_times(session)


def newest_arrival(engine: Engine) -> Millis:
    """When the newest reading came [ms]; 0 before the first."""
    with store.reading(engine) as session:
        return session.exec(select(func.max(SeriesRow.heard_ms))).one() or 0


def rejections(engine: Engine, limit: int) -> list[KeptRejection]:
    """What was kept out, the latest first."""
    with store.reading(engine) as session:
        rows = session.exec(select(RejectedRow).order_by(col(RejectedRow.id).desc()).limit(limit))
        return [
            KeptRejection(row.id or 0, row.source, row.reason, row.payload, row.arrived_ms) for row in rows
        ]


def rejected_count(engine: Engine) -> int:
    """How many payloads or records were kept out so far."""
    with store.reading(engine) as session:
        return session.exec(select(func.count()).select_from(RejectedRow)).one()


def _keep_rejected(session: Session, rejected: Sequence[Rejected]) -> None:
    session.add_all(
        RejectedRow(source=one.source, reason=one.reason, payload=one.payload, arrived_ms=one.arrived)
        for one in rejected
    )


def _keep_statuses(session: Session, statuses: Sequence[NodeStatus]) -> None:
    if not statuses:
        return
    insert = insert_into(session, NodeStatusRow)
    table = table_of(NodeStatusRow)
    session.connection().execute(
        insert.on_conflict_do_update(
            index_elements=["place", "node"],
            set_={"online": insert.excluded.online, "at_ms": insert.excluded.at_ms},
            where=insert.excluded.at_ms >= table.c.at_ms,
        ),
        [{"place": one.place, "node": one.node, "online": one.online, "at_ms": one.at} for one in statuses],
    )


def _between(start: Millis, end: Millis) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    return col(ReadingRow.time_ms) >= start, col(ReadingRow.time_ms) < end


def _readings(session: Session, *where: ColumnElement[bool], limit: int | None = None) -> list[Reading]:
    series, reading = table_of(SeriesRow).c, table_of(ReadingRow).c
    query = (
        table_of(SeriesRow)
        .join(table_of(ReadingRow))
        .select()
        .with_only_columns(
            series.place, series.node, series.name, series.unit, reading.value, reading.time_ms
        )
        .where(*where)
        .order_by(reading.time_ms, series.node, series.name, series.unit)
        .limit(limit)
    )
    return [Reading(*row) for row in session.connection().execute(query)]


def _latest_times(session: Session) -> dict[tuple[str, str], Millis]:
    # One look at the end of each series, in place of a scan of every reading.
    latest = (
        select(func.max(ReadingRow.time_ms))
        .where(col(ReadingRow.series_id) == col(SeriesRow.id))
        .correlate(table_of(SeriesRow))
        .scalar_subquery()
    )
    times: dict[tuple[str, str], Millis] = {}
    for place, node, time in session.exec(select(SeriesRow.place, SeriesRow.node, latest)):
        if time is not None:
            times[place, node] = max(time, times.get((place, node), time))
    return times
