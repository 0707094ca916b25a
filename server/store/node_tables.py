"""The tables about nodes: how each is set up, who may publish, its calibrations, how others' words are read.

What was said of calibration is only ever added to: readings stay as they came, and are corrected when they
are read.
"""

from typing import Any

from sqlalchemy import JSON, BigInteger, Double, Text
from sqlmodel import Field

from server.store.tables import Row


class NodeRow(Row, table=True):
    """What a person set for one node; a node with no row has the usual values.

    hook: where its load cell hangs, "" for none. temp_error_c, rh_error_pct: its stated errors [K, %RH].
    battery_low_v: the voltage at which it stops [V].
    """

    __tablename__ = "node"
    place: str = Field(primary_key=True)
    node: str = Field(primary_key=True)
    hook: str = ""
    temp_error_c: float | None = Field(default=None, sa_type=Double)
    rh_error_pct: float | None = Field(default=None, sa_type=Double)
    battery_low_v: float | None = Field(default=None, sa_type=Double)


class MqttAccountRow(Row, table=True):
    """Who may publish to the built-in listener, and to which topics: filters, `%u` stands for the name."""

    __tablename__ = "mqtt_account"
    user_name: str = Field(primary_key=True)
    password_hash: str
    topics: list[str] = Field(sa_type=JSON)
    created_wall_ms: int = Field(sa_type=BigInteger)
    revoked_wall_ms: int | None = Field(default=None, sa_type=BigInteger)


class CalibrationRow(Row, table=True):
    """A line that corrects one quantity of a node from a time on: right value = slope x said value + shift.

    kind: "salt" or "reference". points: what it was made of. residual: its largest miss at a point, in the
    quantity's unit; None where the line has as many coefficients as points.
    """

    __tablename__ = "calibration"
    id: int | None = Field(default=None, primary_key=True)
    place: str = Field(index=True)
    node: str
    quantity: str
    from_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    kind: str
    slope: float = Field(sa_type=Double)
    shift: float = Field(sa_type=Double)
    residual: float | None = Field(default=None, sa_type=Double)
    points: list[dict[str, Any]] = Field(sa_type=JSON)
    note: str = Field(default="", sa_type=Text)


class CalibrationUndoRow(Row, table=True):
    """A calibration was taken back: a row of its own, so that what was said first still stands beside it."""

    __tablename__ = "calibration_undo"
    calibration_id: int = Field(primary_key=True, foreign_key="calibration.id")
    at_ms: int = Field(sa_type=BigInteger)


class SaltJarRow(Row, table=True):
    """A node in a jar over a saturated salt: begun, then settled and read, or given up.

    state: "waiting", "read" or "given_up". reading: the humidity that the node settled at [%RH], temp_c: at
    what temperature of the jar [°C]; both None until it is read.
    """

    __tablename__ = "salt_jar"
    id: int | None = Field(default=None, primary_key=True)
    place: str
    node: str
    salt: str
    begun_ms: int = Field(sa_type=BigInteger)
    ended_ms: int | None = Field(default=None, sa_type=BigInteger)
    state: str
    reading_pct: float | None = Field(default=None, sa_type=Double)
    temp_c: float | None = Field(default=None, sa_type=Double)


class WrongClockRow(Row, table=True):
    """A node's clock was found wrong: of these times of its own, until None, nothing it said counts."""

    __tablename__ = "wrong_clock"
    id: int | None = Field(default=None, primary_key=True)
    place: str
    node: str
    from_ms: int = Field(sa_type=BigInteger)
    until_ms: int | None = Field(default=None, sa_type=BigInteger)


class MappingRow(Row, table=True):
    """How another maker's payload is read. `fields`: one mapping a quantity, see `sensors.mapping`."""

    __tablename__ = "mapping"
    id: int | None = Field(default=None, primary_key=True)
    topic_filter: str
    place: str
    node: str
    format: str
    fields: list[dict[str, Any]] = Field(sa_type=JSON)
    created_ms: int = Field(sa_type=BigInteger)
    removed_ms: int | None = Field(default=None, sa_type=BigInteger)
