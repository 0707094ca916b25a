"""The newest reading of each quantity of each node: one look at the end of each series."""

from sqlalchemy.orm import aliased
from sqlmodel import col, func, select

from sensors.reading import Reading
from server.store.engine import Engine, reading
from server.store.tables import ReadingRow, SeriesRow


def latest_readings(engine: Engine) -> list[Reading]:
    """The newest reading of each quantity of each node, by place, node, name and unit."""
    row = aliased(ReadingRow)
    newest = (
        select(func.max(ReadingRow.time_ms))
        .where(col(ReadingRow.series_id) == col(SeriesRow.id))
        .correlate(SeriesRow)
        .scalar_subquery()
    )
    with reading(engine) as session:
        found = session.exec(
            select(SeriesRow.place, SeriesRow.node, SeriesRow.name, SeriesRow.unit, row.value, row.time_ms)  # type: ignore[call-overload]
            .join(row, (row.series_id == SeriesRow.id) & (row.time_ms == newest))
            .order_by(SeriesRow.place, SeriesRow.node, SeriesRow.name, SeriesRow.unit)
        )
        return [Reading(*one) for one in found]
