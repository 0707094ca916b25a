"""The last words of each node, with when they came: to tell whether it is silent and its clock is right."""

from sqlmodel import col, select

from sensors.clock import Millis
from sensors.minutes import AIR_NAMES
from server.store.engine import Engine, reading
from server.store.tables import ReadingRow, SeriesRow

LAST = 8
"""So many of each series are looked at."""


def last_words(engine: Engine) -> dict[tuple[str, str], list[tuple[Millis, Millis]]]:
    """For each (place, node) its last words: (their own time, when they came) [ms], by their own time."""
    found: dict[tuple[str, str], dict[Millis, Millis]] = {}
    with reading(engine) as session:
        for series in session.exec(select(SeriesRow)):
            rows = session.exec(
                select(ReadingRow.time_ms, ReadingRow.arrived_ms)
                .where(col(ReadingRow.series_id) == series.id)
                .order_by(col(ReadingRow.time_ms).desc())
                .limit(LAST)
            )
            found.setdefault((series.place, series.node), {}).update(dict(rows.all()))
    return {key: sorted(words.items())[-LAST:] for key, words in found.items()}


def air_nodes(engine: Engine) -> set[tuple[str, str]]:
    """The (place, node) that ever told both of what an air record is made of."""
    with reading(engine) as session:
        told = {(one.place, one.node, one.name) for one in session.exec(select(SeriesRow))}
    return {
        (place, node) for place, node, _ in told if all((place, node, name) in told for name in AIR_NAMES)
    }
