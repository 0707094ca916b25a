"""When each node was first and last heard."""

from sqlmodel import col, select

from sensors.clock import Millis
from server.store.engine import Engine, reading
from server.store.tables import ReadingRow, SeriesRow


def first_words(engine: Engine) -> dict[tuple[str, str], tuple[Millis, Millis]]:
    """For each (place, node) that measures humidity, the times of its first and newest readings [ms]."""
    found: dict[tuple[str, str], tuple[Millis, Millis]] = {}
    with reading(engine) as session:
        for series in session.exec(select(SeriesRow).where(SeriesRow.name == "humidity")):
            times = select(ReadingRow.time_ms).where(col(ReadingRow.series_id) == series.id)
            first = session.exec(times.order_by(col(ReadingRow.time_ms)).limit(1)).first()
            newest = session.exec(times.order_by(col(ReadingRow.time_ms).desc()).limit(1)).first()
            if first is None or newest is None:
                continue
            before = found.get((series.place, series.node), (first, newest))
            found[series.place, series.node] = min(before[0], first), max(before[1], newest)
    return found
