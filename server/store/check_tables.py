"""The tables of the check before burnout: how coats went, what was answered, who cleared a tree, patches, and
what came of the casting."""

from typing import Any

from sqlalchemy import JSON, BigInteger, Column, Double, Text
from sqlmodel import Field

from server.store.tables import Row


class CoatWentRow(Row, table=True):
    """How a coat went, as it was judged when the next one came or the tree was cleared.

    It is named by its tree and when it went on, for patches are coats here too. `until_ms` is when the next
    one came: one that was taken back and said again replaces the row.
    """

    __tablename__ = "coat_went"
    tree_id: int = Field(primary_key=True, foreign_key="tree.id")
    at_ms: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))
    until_ms: int = Field(sa_type=BigInteger)
    kept_ms: int = Field(sa_type=BigInteger)
    verdict: dict[str, Any] = Field(sa_type=JSON)


class DipForecastRow(Row, table=True):
    """What was forecast of a coat just after its dip: percentiles 10, 50, 90 of when it comes fit."""

    __tablename__ = "dip_forecast"
    dip_id: int = Field(primary_key=True, foreign_key="dip.id")
    made_ms: int = Field(sa_type=BigInteger)
    p10_ms: int | None = Field(default=None, sa_type=BigInteger)
    p50_ms: int | None = Field(default=None, sa_type=BigInteger)
    p90_ms: int | None = Field(default=None, sa_type=BigInteger)


class CheckAnswerRow(Row, table=True):
    """What a person answered to a question of the check. The newest answer to a question holds."""

    __tablename__ = "check_answer"
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id", index=True)
    question: str
    yes: bool
    who: str
    at_ms: int = Field(sa_type=BigInteger)


class ClearingRow(Row, table=True):
    """A person cleared a tree for burnout: who, when, over which answer, why, and the whole check then."""

    __tablename__ = "clearing"
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id", index=True)
    at_ms: int = Field(sa_type=BigInteger)
    who: str
    why: str = Field(sa_type=Text)
    answer: str
    sheet: dict[str, Any] = Field(sa_type=JSON)


class ReopeningRow(Row, table=True):
    """A clearing was taken back: who, when and why."""

    __tablename__ = "reopening"
    clearing_id: int = Field(primary_key=True, foreign_key="clearing.id")
    at_ms: int = Field(sa_type=BigInteger)
    who: str
    why: str = Field(sa_type=Text)


class PatchRow(Row, table=True):
    """Slurry and stucco that went on over the last coat, at one spot of the tree."""

    __tablename__ = "patch"
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id", index=True)
    at_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    spot: str
    thickness_mm: float = Field(sa_type=Double)
    size_mm: float | None = Field(default=None, sa_type=Double)
    place_words: str
    who: str


class PatchUndoRow(Row, table=True):
    """A patch was taken back: a row of its own, as for dips."""

    __tablename__ = "patch_undo"
    patch_id: int = Field(primary_key=True, foreign_key="patch.id")
    at_ms: int = Field(sa_type=BigInteger)


class CastingRow(Row, table=True):
    """What came of the casting of a cleared tree; `spot` is one of its spots, or nothing."""

    __tablename__ = "casting"
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id", index=True)
    said_ms: int = Field(sa_type=BigInteger)
    outcome: str
    spot: str
    place_words: str
    note: str = Field(sa_type=Text)
    who: str


class CastingUndoRow(Row, table=True):
    """What was said of a casting was taken back."""

    __tablename__ = "casting_undo"
    casting_id: int = Field(primary_key=True, foreign_key="casting.id")
    at_ms: int = Field(sa_type=BigInteger)
