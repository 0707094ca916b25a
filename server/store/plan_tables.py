"""The tables of what is ahead: what the caster says of the coming air, and the days metal is to be poured."""

from sqlalchemy import BigInteger
from sqlmodel import Field

from server.store.tables import Row


class AirWordRow(Row, table=True):
    """What the caster said of the coming air; place "" is the whole shop. Taken back ones are kept."""

    __tablename__ = "air_word"
    id: int | None = Field(default=None, primary_key=True)
    place: str
    kind: str
    amount: float
    start_ms: int = Field(sa_type=BigInteger)
    end_ms: int = Field(sa_type=BigInteger, index=True)
    said_ms: int = Field(sa_type=BigInteger)
    undone_ms: int | None = Field(default=None, sa_type=BigInteger)


class PourDayRow(Row, table=True):
    """A day on which metal is to be poured: when burnout must begin. Taken back ones are kept, marked."""

    __tablename__ = "pour_day"
    id: int | None = Field(default=None, primary_key=True)
    at_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    undone_ms: int | None = Field(default=None, sa_type=BigInteger)
