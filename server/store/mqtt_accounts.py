"""The nodes' accounts at the built-in listener. Passwords are kept as hashes alone."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import Engine, update
from sqlmodel import col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.inserting import insert_into, table_of
from server.store.node_tables import MqttAccountRow


@dataclass(frozen=True)
class MqttAccount:
    """Who may publish: `topics` are filters, in which `%u` stands for the user name."""

    user_name: str
    password_hash: str = field(repr=False)
    topics: tuple[str, ...]
    created: Millis
    revoked: Millis | None = None


def add(engine: Engine, account: MqttAccount) -> None:
    """Keep an account, in place of one of the same name, which may have been revoked."""
    values = {
        "password_hash": account.password_hash,
        "topics": list(account.topics),
        "created_wall_ms": account.created,
        "revoked_wall_ms": account.revoked,
    }
    with store.writing(engine) as session:
        session.connection().execute(
            insert_into(session, MqttAccountRow).on_conflict_do_update(
                index_elements=["user_name"], set_=values
            ),
            {"user_name": account.user_name, **values},
        )


def revoke(engine: Engine, user_name: str, now: Millis) -> bool:
    """Take an account back; False where there is none of this name that still holds."""
    table = table_of(MqttAccountRow)
    with store.writing(engine) as session:
        changed = session.connection().execute(
            update(table)
            .where(table.c.user_name == user_name, table.c.revoked_wall_ms.is_(None))
            .values(revoked_wall_ms=now)
        )
        return changed.rowcount > 0


def accounts(engine: Engine) -> Sequence[MqttAccount]:
    """Every account by name, the revoked ones too."""
    with store.reading(engine) as session:
        rows = session.exec(select(MqttAccountRow).order_by(col(MqttAccountRow.user_name)))
        return [_account(row) for row in rows]


def by_name(engine: Engine, user_name: str) -> MqttAccount | None:
    """The account of this name, revoked or not."""
    with store.reading(engine) as session:
        row = session.get(MqttAccountRow, user_name)
        return None if row is None else _account(row)


def _account(row: MqttAccountRow) -> MqttAccount:
    return MqttAccount(
        row.user_name, row.password_hash, tuple(row.topics), row.created_wall_ms, row.revoked_wall_ms
    )
