"""When nothing counts that a node said, because its clock was wrong."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store.calibrations import forget_states
from server.store.engine import Engine, reading, writing
from server.store.node_tables import WrongClockRow


@dataclass(frozen=True)
class WrongClock:
    """A node that does not count from `since` until before `until` (None: still), by its own clock [ms]."""

    place: str
    node: str
    since: Millis
    until: Millis | None


def wrong_clocks(engine: Engine, place: str | None = None) -> list[WrongClock]:
    """All there ever were, or those of a place, in the order in which they were found."""
    query = select(WrongClockRow).order_by(col(WrongClockRow.id))
    if place is not None:
        query = query.where(col(WrongClockRow.place) == place)
    with reading(engine) as session:
        return [WrongClock(row.place, row.node, row.from_ms, row.until_ms) for row in session.exec(query)]


def begin_wrong_clock(engine: Engine, place: str, node: str, since: Millis) -> None:
    """From `since` by its own clock on [ms] a node does not count; nothing where it does not already."""
    with writing(engine) as session:
        if _open(session, place, node) is None:
            forget_states(session, since)
            session.add(WrongClockRow(place=place, node=node, from_ms=since))


def end_wrong_clock(engine: Engine, place: str, node: str, until: Millis) -> None:
    """From `until` by its own clock on [ms] a node counts again; nothing where it does already."""
    with writing(engine) as session:
        row = _open(session, place, node)
        if row is not None:
            forget_states(session, until)
            row.until_ms = max(until, row.from_ms)
            session.add(row)


def _open(session: Session, place: str, node: str) -> WrongClockRow | None:
    return session.exec(
        select(WrongClockRow).where(
            col(WrongClockRow.place) == place,
            col(WrongClockRow.node) == node,
            col(WrongClockRow.until_ms).is_(None),
        )
    ).first()
