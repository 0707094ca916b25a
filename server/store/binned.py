"""Readings in bins of time, for charts: the database makes the means, and no value passes through Python."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import col, func, select

from sensors.clock import Millis
from server.store.engine import Engine, reading
from server.store.tables import ReadingRow, SeriesRow


@dataclass(frozen=True)
class Bin:
    """What a node said of one quantity in one bin: when it starts [ms], the mean as it came, and its unit."""

    node: str
    name: str
    start: Millis
    mean: float
    unit: str = ""


def binned(
    engine: Engine, place: str, names: Sequence[str], start: Millis, end: Millis, width: Millis
) -> list[Bin]:
    """The means over bins of `width` [ms] from `start` on of what a place's nodes said before `end`.

    Bins in which a node said nothing are not there. In order of time, node and name.
    """
    number = (col(ReadingRow.time_ms) - start) // width
    with reading(engine) as session:
        series = session.exec(
            select(SeriesRow.id, SeriesRow.node, SeriesRow.name, SeriesRow.unit).where(
                col(SeriesRow.place) == place, col(SeriesRow.name).in_(names)
            )
        ).all()
        found: list[Bin] = []
        for series_id, node, name, unit in series:
            # One series at a time: a walk along its key, with nothing to sort.
            rows = session.exec(
                select(number.label("bin"), func.avg(ReadingRow.value))
                .where(
                    col(ReadingRow.series_id) == series_id,
                    col(ReadingRow.time_ms) >= start,
                    col(ReadingRow.time_ms) < end,
                )
                .group_by("bin")
            )
            found += [Bin(node, name, start + int(at) * width, float(mean), unit) for at, mean in rows]
    return sorted(found, key=lambda one: (one.start, one.node, one.name))


def first_time(engine: Engine, place: str, names: Sequence[str]) -> Millis | None:
    """The earliest time of which a place's nodes ever spoke [ms]; None before they did."""
    earliest = (
        select(func.min(ReadingRow.time_ms))
        .where(col(ReadingRow.series_id) == col(SeriesRow.id))
        .correlate(SeriesRow)
        .scalar_subquery()
    )
    with reading(engine) as session:
        times = session.exec(
            select(earliest).where(col(SeriesRow.place) == place, col(SeriesRow.name).in_(names))
        ).all()
    return min((time for time in times if time is not None), default=None)
