"""What came in since a moment: to follow the intake beside the service, by reading alone."""

from dataclasses import dataclass

from sqlmodel import col, func, select

from sensors.clock import DAY_MS, Millis
from sensors.reading import NodeStatus, Reading
from server.store.engine import Engine, reading
from server.store.tables import NodeStatusRow, ReadingRow, RejectedRow, SeriesRow
from server.store.values import KeptRejection

SAID_WITHIN_MS = 2 * DAY_MS
"""Readings of a time longer ago than this are not looked for [ms]: a node keeps a day."""

MOST = 500
"""As many readings of one look are given."""


@dataclass(frozen=True)
class Mark:
    """How far the intake was followed: the newest arrival [ms], rejection, and word of a node [ms]."""

    arrived: Millis
    rejected: int
    status: Millis


@dataclass(frozen=True)
class Arrivals:
    """What came after a mark: readings with their times of arrival, rejections, and what nodes said of
    themselves."""

    readings: tuple[tuple[Millis, Reading], ...]
    rejections: tuple[KeptRejection, ...]
    statuses: tuple[NodeStatus, ...]
    mark: Mark


def mark_now(engine: Engine) -> Mark:
    """The mark of all that is there now."""
    with reading(engine) as session:
        return Mark(
            session.exec(select(func.max(SeriesRow.heard_ms))).one() or 0,
            session.exec(select(func.max(RejectedRow.id))).one() or 0,
            session.exec(select(func.max(NodeStatusRow.at_ms))).one() or 0,
        )


def arrivals_after(engine: Engine, mark: Mark) -> Arrivals:
    """What came after that mark, each kind in the order it came."""
    with reading(engine) as session:
        heard = session.exec(select(SeriesRow).where(col(SeriesRow.heard_ms) > mark.arrived)).all()
        found: list[tuple[Millis, Reading]] = []
        for series in heard:
            rows = session.exec(
                select(ReadingRow)
                .where(
                    col(ReadingRow.series_id) == series.id,
                    col(ReadingRow.time_ms) > mark.arrived - SAID_WITHIN_MS,
                    col(ReadingRow.arrived_ms) > mark.arrived,
                )
                .order_by(col(ReadingRow.arrived_ms).desc(), col(ReadingRow.time_ms).desc())
                .limit(MOST)
            )
            for row in rows:
                said = Reading(series.place, series.node, series.name, series.unit, row.value, row.time_ms)
                found.append((row.arrived_ms, said))
        rejections = session.exec(
            select(RejectedRow).where(col(RejectedRow.id) > mark.rejected).order_by(col(RejectedRow.id))
        ).all()
        statuses = session.exec(
            select(NodeStatusRow)
            .where(col(NodeStatusRow.at_ms) > mark.status)
            .order_by(col(NodeStatusRow.at_ms))
        ).all()
    found.sort(key=lambda one: (one[0], one[1].time, one[1].place, one[1].node))
    return Arrivals(
        tuple(found[-MOST:]),
        tuple(
            KeptRejection(row.id or 0, row.source, row.reason, row.payload, row.arrived_ms)
            for row in rejections
        ),
        tuple(NodeStatus(row.place, row.node, row.online, row.at_ms) for row in statuses),
        Mark(
            max((series.heard_ms for series in heard), default=mark.arrived),
            max((row.id or 0 for row in rejections), default=mark.rejected),
            max((row.at_ms for row in statuses), default=mark.status),
        ),
    )
