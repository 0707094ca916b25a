"""How a phone that asked to be told stands: told, or dropped and why; and its move to another address."""

from dataclasses import dataclass

from sqlalchemy import Engine
from sqlmodel import col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.subscriptions import subscription_of
from server.store.tables import SubscriptionRow
from server.store.values import Subscription

_IS_PHONE = col(SubscriptionRow.kind) == "push"


@dataclass(frozen=True)
class KnownPhone:
    """A phone that asked to be told, and since when; `dropped`: told no more since, None: told [wall ms]."""

    subscription: Subscription
    since: Millis
    dropped: Millis | None
    reason: str


def phone_at(engine: Engine, endpoint: str) -> KnownPhone | None:
    """The phone of that address; None where none ever asked."""
    with store.reading(engine) as session:
        wanted = select(SubscriptionRow).where(SubscriptionRow.endpoint == endpoint, _IS_PHONE)
        row = session.exec(wanted).first()
        return None if row is None else _known(row)


def dropped_phones(engine: Engine, since: Millis, most: int) -> list[KnownPhone]:
    """The phones that were dropped after that wall time and did not ask anew, the latest first."""
    wanted = (
        select(SubscriptionRow)
        .where(col(SubscriptionRow.dropped_wall_ms) > since, _IS_PHONE)
        .order_by(col(SubscriptionRow.dropped_wall_ms).desc())
        .limit(most)
    )
    with store.reading(engine) as session:
        return [_known(row) for row in session.exec(wanted)]


def move(engine: Engine, old: str, endpoint: str) -> None:
    """A phone's push service gave it another address: what waits for it goes there.

    Changes nothing where the old address is not known or the new one is.
    """
    with store.writing(engine) as session:
        rows = session.exec(select(SubscriptionRow).where(col(SubscriptionRow.endpoint).in_((old, endpoint))))
        known = {row.endpoint: row for row in rows}
        if old in known and known[old].kind == "push" and endpoint not in known:
            known[old].endpoint = endpoint
            session.add(known[old])


def _known(row: SubscriptionRow) -> KnownPhone:
    return KnownPhone(subscription_of(row), row.since_wall_ms, row.dropped_wall_ms, row.dropped_reason or "")
