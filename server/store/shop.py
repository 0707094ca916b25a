"""What belongs to the shop and not to the process: its settings, and where its clock stands."""

from copy import deepcopy
from typing import Any

from sqlalchemy import Engine

from sensors.clock import Millis
from server.store import engine as store
from server.store.inserting import insert_into
from server.store.revisions import kept
from server.store.tables import SettingRow
from server.store.values import ClockAnchor

_CLOCK = "clock"


def setting(engine: Engine, key: str) -> Any | None:
    """A setting as it was set; None where it never was."""
    return deepcopy(
        kept(engine, ("setting", key), (SettingRow.__tablename__,), lambda: _setting(engine, key))
    )


def _setting(engine: Engine, key: str) -> Any | None:
    with store.reading(engine) as session:
        row = session.get(SettingRow, key)
        return None if row is None else row.value


def set_setting(engine: Engine, key: str, value: Any) -> None:
    """Set a setting to anything that JSON can say."""
    with store.writing(engine) as session:
        insert = insert_into(session, SettingRow)
        session.connection().execute(
            insert.on_conflict_do_update(index_elements=["key"], set_={"value": insert.excluded.value}),
            [{"key": key, "value": value}],
        )


def clock_anchor(engine: Engine) -> ClockAnchor | None:
    """Where shop time was last tied to the wall's; None before the first time."""
    kept = setting(engine, _CLOCK)
    return None if kept is None else ClockAnchor(**kept)


def set_clock_anchor(engine: Engine, shop_anchor: Millis, wall_anchor: Millis, rate: float) -> None:
    """Tie shop time to the wall's: `shop_anchor` at `wall_anchor`, from there `rate` times as fast."""
    set_setting(engine, _CLOCK, {"shop_anchor": shop_anchor, "wall_anchor": wall_anchor, "rate": rate})
