"""What is ahead, as it was said: words on the coming air, and the day metal is to be poured."""

from dataclasses import dataclass

from sqlalchemy import Engine
from sqlmodel import col, select

from sensors.air_forecast import BOUNDS, WordKind
from sensors.clock import Millis
from server.store import engine as store
from server.store.plan_tables import AirWordRow, PourDayRow


@dataclass(frozen=True)
class SaidWord:
    """A word on the coming air as it is kept; place "" is the whole shop; from `start` to `end` [ms]."""

    id: int
    place: str
    kind: WordKind
    amount: float
    start: Millis
    end: Millis


def add_word(
    engine: Engine, place: str, kind: WordKind, amount: float, start: Millis, end: Millis, now: Millis
) -> int:
    """Keep a word, said `now` [ms]; returns its id."""
    with store.writing(engine) as session:
        row = AirWordRow(place=place, kind=kind, amount=amount, start_ms=start, end_ms=end, said_ms=now)
        session.add(row)
        session.flush()
        return row.id or 0


def undo_word(engine: Engine, word_id: int, now: Millis) -> None:
    """Take a word back; once more changes nothing. Raises UnknownError where there is none of that id."""
    with store.writing(engine) as session:
        row = session.get(AirWordRow, word_id)
        if row is None:
            raise store.UnknownError(f"no word {word_id} was said of the coming air")
        if row.undone_ms is None:
            row.undone_ms = now


def words(engine: Engine, now: Millis) -> list[SaidWord]:
    """The words that hold now or later [ms], as they were said."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(AirWordRow)
            .where(col(AirWordRow.undone_ms).is_(None), AirWordRow.end_ms > now)
            .order_by(col(AirWordRow.id))
        )
        return [
            SaidWord(row.id or 0, row.place, kind, row.amount, row.start_ms, row.end_ms)
            for row in rows
            for kind in BOUNDS
            if kind == row.kind
        ]


def set_pour_day(engine: Engine, at: Millis | None, now: Millis) -> None:
    """Say when burnout for the next pour begins [ms], in place of what was said before; None for none."""
    with store.writing(engine) as session:
        for row in session.exec(select(PourDayRow).where(col(PourDayRow.undone_ms).is_(None))):
            row.undone_ms = now
        if at is not None:
            session.add(PourDayRow(at_ms=at, said_ms=now))


def pour_day(engine: Engine) -> Millis | None:
    """When burnout for the next pour is to begin [ms]; None where no day was said."""
    with store.reading(engine) as session:
        row = session.exec(select(PourDayRow).where(col(PourDayRow.undone_ms).is_(None))).first()
        return None if row is None else row.at_ms
