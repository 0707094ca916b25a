"""The table of what was put off. What belongs to notices and to who is told stands in `tables.py`."""

from sqlalchemy import BigInteger
from sqlmodel import Field

from server.store.tables import Row


class PutOffRow(Row, table=True):
    """Somebody wants to be reminded of a tree later. The latest row of a tree is the one that counts.

    `dipped_ms` is when the coat was dipped that is on: after the next dip there is nothing to remind of.
    """

    __tablename__ = "put_off"
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id", index=True)
    dipped_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    until_ms: int = Field(sa_type=BigInteger)
