"""Who is told: phones that asked, by Web Push, and other channels that a person set up."""

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.tables import DeliveryRow, SubscriptionRow
from server.store.values import Subscription

OTHER = "other"
"""The kind of whoever is no phone."""


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
        return [subscription_of(row) for row in live(session) if row.kind == "push"]


def channels(engine: Engine) -> list[Subscription]:
    """The other channels that are told, in the order they were set up."""
    with store.reading(engine) as session:
        return [subscription_of(row) for row in live(session) if row.kind == OTHER]


def add_channel(engine: Engine, name: str, address: str, wall_now: Millis) -> Subscription:
    """Tell by another channel from now on. Raises RefusedError where one has that address already."""
    with store.writing(engine) as session:
        if session.exec(select(SubscriptionRow).where(SubscriptionRow.endpoint == address)).first():
            raise store.RefusedError("there is a channel to this address already")
        row = SubscriptionRow(
            endpoint=address, p256dh="", auth="", since_wall_ms=wall_now, kind=OTHER, name=name
        )
        session.add(row)
        session.flush()
        return subscription_of(row)


def take_off_channel(engine: Engine, channel_id: int, wall_now: Millis) -> None:
    """Tell by this channel no more, and forget its address, which holds secrets.

    Raises UnknownError where there is no such channel.
    """
    with store.writing(engine) as session:
        row = session.get(SubscriptionRow, channel_id)
        if row is None or row.kind != OTHER or row.dropped_wall_ms is not None:
            raise store.UnknownError(f"there is no channel {channel_id}")
        row.endpoint = f"taken off: {channel_id}"
        _drop(session, row, "the channel was taken off", wall_now)


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
        _drop(session, row, reason, wall_now)


def live(session: Session) -> list[SubscriptionRow]:
    """The rows of the phones and channels that are told."""
    return list(
        session.exec(
            select(SubscriptionRow)
            .where(col(SubscriptionRow.dropped_wall_ms).is_(None))
            .order_by(col(SubscriptionRow.id))
        )
    )


def subscription_of(row: SubscriptionRow) -> Subscription:
    """A subscription's row as a value."""
    return Subscription(row.id or 0, row.endpoint, row.p256dh, row.auth, row.kind, row.name or "")


def _drop(session: Session, row: SubscriptionRow, reason: str, wall_now: Millis) -> None:
    row.dropped_wall_ms, row.dropped_reason = wall_now, reason
    session.add(row)
    for delivery in session.exec(
        select(DeliveryRow).where(DeliveryRow.subscription_id == row.id, DeliveryRow.state == "waiting")
    ):
        delivery.state, delivery.settled_wall_ms, delivery.last_error = "dropped", wall_now, reason
        session.add(delivery)
