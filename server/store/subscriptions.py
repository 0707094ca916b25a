"""Phones that asked to be told, by Web Push."""

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.tables import DeliveryRow, SubscriptionRow
from server.store.values import Subscription


def subscribe(engine: Engine, endpoint: str, p256dh: str, auth: str, wall_now: Millis) -> Subscription:
    """Keep a phone's subscription. A known endpoint gets its new keys, and is live again if dropped."""
    with store.writing(engine) as session:
        row = session.exec(select(SubscriptionRow).where(SubscriptionRow.endpoint == endpoint)).first()
        if row is None:
            row = SubscriptionRow(endpoint=endpoint, p256dh=p256dh, auth=auth, since_wall_ms=wall_now)
        elif row.dropped_wall_ms is not None:
            row.since_wall_ms = wall_now
        row.p256dh, row.auth = p256dh, auth
        row.dropped_wall_ms = row.dropped_reason = None
        session.add(row)
        session.flush()
        return subscription_of(row)


def subscriptions(engine: Engine) -> list[Subscription]:
    """The phones that are told, in the order they asked."""
    with store.reading(engine) as session:
        return [subscription_of(row) for row in live(session)]


def drop(engine: Engine, subscription_id: int, reason: str, wall_now: Millis) -> None:
    """Tell this phone no more, and say why; what still waits for it is dropped. Once more changes nothing.

    Raises UnknownError where there is no such subscription.
    """
    with store.writing(engine) as session:
        row = session.get(SubscriptionRow, subscription_id)
        if row is None:
            raise store.UnknownError(f"there is no subscription {subscription_id}")
        if row.dropped_wall_ms is not None:
            return
        row.dropped_wall_ms, row.dropped_reason = wall_now, reason
        session.add(row)
        for delivery in session.exec(
            select(DeliveryRow).where(
                DeliveryRow.subscription_id == subscription_id, DeliveryRow.state == "waiting"
            )
        ):
            delivery.state, delivery.settled_wall_ms, delivery.last_error = "dropped", wall_now, reason
            session.add(delivery)


def live(session: Session) -> list[SubscriptionRow]:
    """The rows of the phones that are told."""
    return list(
        session.exec(
            select(SubscriptionRow)
            .where(col(SubscriptionRow.dropped_wall_ms).is_(None))
            .order_by(col(SubscriptionRow.id))
        )
    )


def subscription_of(row: SubscriptionRow) -> Subscription:
    """A subscription's row as a value."""
    return Subscription(row.id or 0, row.endpoint, row.p256dh, row.auth)
