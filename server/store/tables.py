"""The tables. Nothing here is handed out: each subject's module turns rows into the values of `values.py`.

What was said (readings, rejected payloads, tree events, dips, undos) is only ever added to. Columns that end
in `_ms` are milliseconds since 1970 UTC: shop time, or the wall's where the name says so.
"""

from typing import Any, ClassVar

from sqlalchemy import JSON, BigInteger, Column, Double, ForeignKey, Index, LargeBinary, MetaData, Text
from sqlalchemy import UniqueConstraint as Unique
from sqlmodel import Field, SQLModel

NAMES = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
"""How constraints are called, so that a later migration can name the one it changes."""


class Row(SQLModel):
    """What every table has in common: one collection of tables."""

    metadata: ClassVar[MetaData] = MetaData(naming_convention=NAMES)


class PlaceRow(Row, table=True):
    """A part of the shop with air of its own."""

    __tablename__ = "place"
    id: str = Field(primary_key=True)
    name: str
    speed_m_s: float = Field(sa_type=Double)


class SeriesRow(Row, table=True):
    """What one node measures in one unit. Readings carry its number in place of four words."""

    __tablename__ = "series"
    __table_args__ = (Unique("place", "node", "name", "unit"),)
    id: int | None = Field(default=None, primary_key=True)
    place: str
    node: str = Field(index=True)
    name: str
    unit: str
    heard_ms: int = Field(sa_type=BigInteger)
    """When its newest arrival came: to know it without a look at every reading."""


class ReadingRow(Row, table=True):
    """One value. No row id on SQLite: the key is the order on disk, which halves the size."""

    __tablename__ = "reading"
    __table_args__: ClassVar[dict[str, Any]] = {"sqlite_with_rowid": False}
    series_id: int = Field(sa_column=Column(ForeignKey("series.id"), primary_key=True, autoincrement=False))
    time_ms: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))
    value: float = Field(sa_type=Double)
    arrived_ms: int = Field(sa_type=BigInteger)


class NodeStatusRow(Row, table=True):
    """The latest word of a node, or of its last will, on whether it is there."""

    __tablename__ = "node_status"
    place: str = Field(primary_key=True)
    node: str = Field(primary_key=True)
    online: bool
    at_ms: int = Field(sa_type=BigInteger)


class RejectedRow(Row, table=True):
    """A payload that was kept out, as it came."""

    __tablename__ = "rejected"
    id: int | None = Field(default=None, primary_key=True)
    source: str
    reason: str = Field(sa_type=Text)
    payload: bytes = Field(sa_type=LargeBinary)
    arrived_ms: int = Field(sa_type=BigInteger)


class RecipeRow(Row, table=True):
    """The coats of a shell under one name."""

    __tablename__ = "recipe"
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)


class RecipeCoatRow(Row, table=True):
    """One coat of a recipe."""

    __tablename__ = "recipe_coat"
    recipe_id: int = Field(primary_key=True, foreign_key="recipe.id")
    number: int = Field(primary_key=True)
    kind: str
    thickness_mm: float = Field(sa_type=Double)
    water_kg_m2: float = Field(sa_type=Double)


class TreeRow(Row, table=True):
    """A tree as it stands now; how it came to that is in `tree_event`."""

    __tablename__ = "tree"
    id: int | None = Field(default=None, primary_key=True)
    label: str
    hook: str
    place: str = Field(foreign_key="place.id")
    recipe_id: int = Field(foreign_key="recipe.id")
    size_mm: float = Field(sa_type=Double)
    area_m2: float | None = Field(default=None, sa_type=Double)
    wax_kg: float | None = Field(default=None, sa_type=Double)
    resting_hours: float = Field(sa_type=Double)
    created_ms: int = Field(sa_type=BigInteger)
    left_how: str = ""
    """"" on the rack, else "cleared" or "scrapped"."""


_ON_A_HOOK = (TreeRow.__table__.c.left_how == "") & (TreeRow.__table__.c.hook != "")  # type: ignore[attr-defined]
Index(
    "uq_tree_hook_on_rack",
    TreeRow.__table__.c.hook,  # type: ignore[attr-defined]
    unique=True,
    sqlite_where=_ON_A_HOOK,
    postgresql_where=_ON_A_HOOK,
)


class TreeSpotRow(Row, table=True):
    """A spot of a tree, at its position in the caster's own order."""

    __tablename__ = "tree_spot"
    tree_id: int = Field(primary_key=True, foreign_key="tree.id")
    position: int = Field(primary_key=True)
    code: str
    name: str


class TreeEventRow(Row, table=True):
    """Something that was said of a tree, as it came: `at_ms` when it was so, `said_ms` when it was said."""

    __tablename__ = "tree_event"
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id", index=True)
    kind: str
    at_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    payload: dict[str, Any] = Field(sa_type=JSON)


class DipRow(Row, table=True):
    """A coat that went on. `key` tells a second sending of one dip from a second dip."""

    __tablename__ = "dip"
    __table_args__ = (Unique("tree_id", "key"),)
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id")
    at_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    pot: str | None = None
    prewet: bool
    partial: bool
    note: str | None = None
    key: str | None = None


class DipUndoRow(Row, table=True):
    """A dip was taken back: a row of its own, so that what was said first still stands beside it."""

    __tablename__ = "dip_undo"
    dip_id: int = Field(primary_key=True, foreign_key="dip.id")
    at_ms: int = Field(sa_type=BigInteger)


class MeasurementRow(Row, table=True):
    """What a person measured on a tree; which columns are filled depends on its kind.

    weighing: `value` [kg]; surface_temp: `spot`, `value` [°C] and maybe `reference_c` of a dry shell [°C];
    touch and colour: `spot` and `word`. `key` tells a second sending of one from a second one.
    """

    __tablename__ = "measurement"
    __table_args__ = (Unique("tree_id", "key"),)
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id")
    kind: str
    at_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    spot: str | None = None
    value: float | None = Field(default=None, sa_type=Double)
    reference_c: float | None = Field(default=None, sa_type=Double)
    word: str | None = None
    key: str | None = None


class MeasurementUndoRow(Row, table=True):
    """A measurement was taken back: a row of its own, as for dips."""

    __tablename__ = "measurement_undo"
    measurement_id: int = Field(primary_key=True, foreign_key="measurement.id")
    at_ms: int = Field(sa_type=BigInteger)


class EnsembleRow(Row, table=True):
    """What was believed of a place from a moment on: its members, how far each, and from what evidence.

    No cache: it is kept as it was said, for by it the verdicts of its time can be made again.
    """

    __tablename__ = "ensemble"
    __table_args__ = (Unique("place", "generation"),)
    id: int | None = Field(default=None, primary_key=True)
    place: str = Field(foreign_key="place.id")
    generation: int
    seed: int = Field(sa_type=BigInteger)
    cause: str
    said_ms: int = Field(sa_type=BigInteger)
    members: dict[str, Any] = Field(sa_type=JSON)
    weights: list[float] = Field(sa_type=JSON)
    evidence: list[dict[str, Any]] = Field(sa_type=JSON)


class SubscriptionRow(Row, table=True):
    """Who asked to be told. A dropped one keeps its row: its deliveries point at it.

    `kind`: "push" is a phone, with its keys; "other" another channel, whose address is in `endpoint`.
    """

    __tablename__ = "subscription"
    id: int | None = Field(default=None, primary_key=True)
    endpoint: str = Field(unique=True)
    p256dh: str
    auth: str
    since_wall_ms: int = Field(sa_type=BigInteger)
    dropped_wall_ms: int | None = Field(default=None, sa_type=BigInteger)
    dropped_reason: str | None = None
    kind: str = Field(default="push", sa_column_kwargs={"server_default": "push"})
    name: str | None = None


class NoticeRow(Row, table=True):
    """A notice in the outbox. `tree_id` is as it was said; a notice may outlive what it speaks of.

    `state`: "told" (it has deliveries, if there was anybody to be told), "held" for later, "within" another
    one, which is `told_in`, or "moot": over before it was told. `told_ms` is the shop time of the telling.
    """

    __tablename__ = "notice"
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    cause: str
    tree_id: int | None = None
    title: str
    body: str = Field(sa_type=Text)
    at_ms: int = Field(sa_type=BigInteger)
    kept_wall_ms: int = Field(sa_type=BigInteger)
    state: str = Field(default="told", index=True, sa_column_kwargs={"server_default": "told"})
    told_ms: int | None = Field(default=None, sa_type=BigInteger)
    told_in: int | None = None


class DeliveryRow(Row, table=True):
    """One notice on its way to one phone: waiting, sending, sent, failed or dropped."""

    __tablename__ = "delivery"
    __table_args__ = (Index("ix_delivery_due", "state", "next_try_wall_ms"),)
    notice_id: int = Field(primary_key=True, foreign_key="notice.id")
    subscription_id: int = Field(primary_key=True, foreign_key="subscription.id")
    state: str
    attempts: int
    next_try_wall_ms: int = Field(sa_type=BigInteger)
    settled_wall_ms: int | None = Field(default=None, sa_type=BigInteger)
    last_error: str | None = None


class SettingRow(Row, table=True):
    """A setting of the shop, as JSON."""

    __tablename__ = "setting"
    key: str = Field(primary_key=True)
    value: Any = Field(sa_type=JSON)


class SavedStateRow(Row, table=True):
    """A state of the model, saved to start quicker. A cache: it may be emptied at any time."""

    __tablename__ = "saved_state"
    tree_id: int = Field(primary_key=True)
    key: str = Field(primary_key=True)
    as_of_ms: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))
    blob: bytes = Field(sa_type=LargeBinary)
