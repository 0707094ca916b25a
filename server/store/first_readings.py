"""Inserts a batch of readings, the first one said of each key; quick, for every node waits for it."""

from collections.abc import Iterable, Sequence, Set
from itertools import chain
from weakref import WeakKeyDictionary

from sqlalchemy import Connection, Engine, tuple_
from sqlmodel import Session

from sensors.clock import Millis
from sensors.reading import Reading
from server.store.inserting import insert_into, table_of
from server.store.tables import ReadingRow, SeriesRow

_SeriesIds = dict[tuple[str, str, str], dict[str, int]]
"""The number of each series, by place, node and name, and then by unit."""

_Series = tuple[str, str, str, str]
"""Place, node, name and unit."""

_Row = tuple[int, Millis, float, Millis]
"""Series, time, value, arrival."""

_ROWS_AT_ONCE = (1, 4, 16, 64, 256, 1024)
"""Rows in one INSERT. The database works through a statement with the interpreter's lock let go of, so that
the event loop reads on meanwhile; row by row the two would wait for each other. A few sizes only, for each
is a statement that the driver keeps prepared."""

_ASKED_AT_ONCE = 256
"""Keys looked for by one query."""

_series_known: WeakKeyDictionary[Engine, _SeriesIds] = WeakKeyDictionary()
"""What the store was once read to have: a series never goes. Looked at and added to under its write lock.

A store has one service at work on it, whose batches all come through here; so what one of them adds is what
there is."""


def keep_firsts(
    engine: Engine, session: Session, readings: Sequence[Reading], arrived: Millis
) -> tuple[int, dict[str, Millis]]:
    """Insert; how many were new, and for each place with new ones the earliest time among them [ms].

    `session` has begun to write to the store of `engine`. Of several readings with one key (place, node,
    name, time) the first one stays, whatever its unit.
    """
    if not readings:
        return 0, {}
    connection = session.connection()
    said = {reading[:4] for reading in readings}
    ids = _series(session, said, arrived, _series_known.setdefault(engine, {}))
    if any(len(units) > 1 for units in ids.values()):
        readings = _of_one_unit(connection, readings, ids)
    number = {(*key, unit): series_id for key, units in ids.items() for unit, series_id in units.items()}
    firsts: dict[tuple[int, Millis], _Row] = {}
    for reading in readings:
        key = (number[reading[:4]], reading.time)
        if key not in firsts:
            firsts[key] = (*key, reading.value, arrived)
    rows = list(firsts.values())
    earliest_of: dict[int, Millis] = {}
    new = _insert_new(connection, rows)
    for series_id, time, _, _ in new:
        if time < earliest_of.get(series_id, time + 1):
            earliest_of[series_id] = time
    if new:
        _heard(connection, earliest_of.keys(), arrived)
    earliest: dict[str, Millis] = {}
    for (place, _, _), units in ids.items():
        for time in (earliest_of[number] for number in units.values() if number in earliest_of):
            earliest[place] = min(time, earliest.get(place, time))
    return len(new), earliest


def _insert_new(connection: Connection, rows: Sequence[_Row]) -> Sequence[_Row]:
    """Insert the rows whose key is not there yet; gives these."""
    # Nearly always all are new, which the count tells. It does not tell which are not: then it is undone,
    # and they are looked for first.
    attempt = connection.begin_nested()
    if _insert(connection, rows) == len(rows):
        attempt.commit()
        return rows
    attempt.rollback()
    known = _known(connection, [(series_id, time) for series_id, time, _, _ in rows])
    new = [row for row in rows if row[:2] not in known]
    _insert(connection, new)
    return new


def _insert(connection: Connection, rows: Sequence[_Row]) -> int:
    """Insert the rows whose key is not there yet; how many these were."""
    row = f"({', '.join([_mark(connection)] * 4)})"
    count = done = 0
    while done < len(rows):
        size = _size(len(rows) - done)
        some = rows[done : done + size]
        done += len(some)
        filled = chain(some, [some[0]] * (size - len(some)))  # what is there by then is not inserted again
        insert = (
            "INSERT INTO reading (series_id, time_ms, value, arrived_ms) VALUES "
            f"{', '.join([row] * size)} ON CONFLICT DO NOTHING"
        )
        count += connection.exec_driver_sql(insert, tuple(chain.from_iterable(filled))).rowcount
    return count


def _size(left: int) -> int:
    """How many of so many rows go into the next statement, or rather more where most of it is filled."""
    return max(size for size in _ROWS_AT_ONCE if size < 2 * left)


def _mark(connection: Connection) -> str:
    """What stands for a value in a statement that goes to the driver as it is."""
    return "?" if connection.dialect.paramstyle == "qmark" else "%s"


def _known(connection: Connection, keys: Sequence[tuple[int, Millis]]) -> set[tuple[int, Millis]]:
    """Those of the (series, time) that are in the store."""
    reading = table_of(ReadingRow)
    key = (reading.c.series_id, reading.c.time_ms)
    known: set[tuple[int, Millis]] = set()
    for start in range(0, len(keys), _ASKED_AT_ONCE):
        asked = keys[start : start + _ASKED_AT_ONCE]
        found = connection.execute(reading.select().with_only_columns(*key).where(tuple_(*key).in_(asked)))
        known.update((series_id, time) for series_id, time in found)
    return known


def _heard(connection: Connection, series_ids: Iterable[int], arrived: Millis) -> None:
    mark = _mark(connection)
    update = f"UPDATE series SET heard_ms = {mark} WHERE id = {mark} AND heard_ms < {mark}"
    connection.exec_driver_sql(update, [(arrived, series_id, arrived) for series_id in series_ids])


def _series(session: Session, wanted: Set[_Series], arrived: Millis, known: _SeriesIds) -> _SeriesIds:
    """The numbers of these series and of their like in other units, made where there is none.

    `known` has what was found before; what is found now, and not what is made, is added to it: what is made
    is kept only if the transaction is.
    """
    missing = [key for key in wanted if key[3] not in known.get(key[:3], {})]
    if missing:
        known.update(_found(session.connection(), missing))
        missing = [key for key in sorted(missing) if key[3] not in known.get(key[:3], {})]
    ids = {key[:3]: known[key[:3]] for key in wanted if key[:3] in known}
    if missing:
        session.connection().execute(
            insert_into(session, SeriesRow).on_conflict_do_nothing(),
            [
                {"place": place, "node": node, "name": name, "unit": unit, "heard_ms": arrived}
                for place, node, name, unit in missing
            ],
        )
        for key in missing:
            known.pop(key[:3], None)
        found = _found(session.connection(), missing)
        ids.update((key[:3], found[key[:3]]) for key in missing)
    return ids


def _found(connection: Connection, wanted: Iterable[tuple[str, str, str, str]]) -> _SeriesIds:
    at_nodes = {(place, node) for place, node, _, _ in wanted}
    series = table_of(SeriesRow)
    rows = connection.execute(
        series.select()
        .with_only_columns(series.c.place, series.c.node, series.c.name, series.c.unit, series.c.id)
        .where(tuple_(series.c.place, series.c.node).in_(at_nodes))
    )
    ids: _SeriesIds = {}
    for place, node, name, unit, number in rows:
        ids.setdefault((place, node, name), {})[unit] = number
    return ids


def _of_one_unit(connection: Connection, readings: Iterable[Reading], ids: _SeriesIds) -> Sequence[Reading]:
    """The first of each key, without those known already in another unit: batteries come in two."""
    firsts: dict[tuple[str, str, str, Millis], Reading] = {}
    for one in readings:
        firsts.setdefault((one.place, one.node, one.name, one.time), one)
    others = {
        key: [(number, key[3]) for unit, number in ids[key[:3]].items() if unit != reading.unit]
        for key, reading in firsts.items()
        if len(ids[key[:3]]) > 1
    }
    known = _known(connection, list(chain.from_iterable(others.values())))
    return [one for key, one in firsts.items() if known.isdisjoint(others.get(key, ()))]
