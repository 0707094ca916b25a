"""The outbox: what people are told, and what became of it at each phone and channel.

A delivery is `waiting`, then `sending` (kept before the request goes out), then `sent`, `failed`, `dropped`
(its phone is told no more) or `waiting` again. One that a crash left `sending` may have been sent: it stays
so, and is not sent again.
"""

from typing import Any

from sqlalchemy import ColumnElement, CursorResult, Engine, func, update
from sqlmodel import col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.subscriptions import subscription_of
from server.store.tables import DeliveryRow, NoticeRow, SubscriptionRow
from server.store.values import Delivery, KeptNotice, Undelivered


def due_deliveries(engine: Engine, wall_now: Millis, limit: int) -> list[Delivery]:
    """The deliveries whose time has come, the longest due first."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(DeliveryRow, NoticeRow, SubscriptionRow)
            .join(NoticeRow, col(NoticeRow.id) == col(DeliveryRow.notice_id))
            .join(SubscriptionRow, col(SubscriptionRow.id) == col(DeliveryRow.subscription_id))
            .where(
                DeliveryRow.state == "waiting",
                DeliveryRow.next_try_wall_ms <= wall_now,
                col(SubscriptionRow.dropped_wall_ms).is_(None),
            )
            .order_by(
                col(DeliveryRow.next_try_wall_ms),
                col(DeliveryRow.notice_id),
                col(DeliveryRow.subscription_id),
            )
            .limit(limit)
        )
        return [
            Delivery(
                notice_id=delivery.notice_id,
                key=notice.key,
                cause=notice.cause,
                subscription=subscription_of(phone),
                title=notice.title,
                body=notice.body,
                tree_id=notice.tree_id,
                attempts=delivery.attempts,
                next_try=delivery.next_try_wall_ms,
                kept=notice.kept_wall_ms,
            )
            for delivery, notice, phone in rows
        ]


def over(engine: Engine, delivery: Delivery, reason: str, wall_now: Millis) -> None:
    """What waited to be sent is over: it is not sent any more."""
    _move(engine, delivery, "waiting", state="dropped", settled_wall_ms=wall_now, last_error=reason)


def begin_attempt(engine: Engine, delivery: Delivery) -> bool:
    """Keep, before the request goes out, that it does. False: it is no longer waiting, do not send it."""
    return _move(engine, delivery, "waiting", state="sending", attempts=DeliveryRow.attempts + 1)


def delivered(engine: Engine, delivery: Delivery, wall_now: Millis) -> None:
    """The push service took it."""
    _move(engine, delivery, "sending", state="sent", settled_wall_ms=wall_now, last_error=None)


def postponed(engine: Engine, delivery: Delivery, error: str, next_try: Millis) -> None:
    """It did not go through; it will be tried again at that wall time."""
    _move(engine, delivery, "sending", state="waiting", next_try_wall_ms=next_try, last_error=error)


def failed(engine: Engine, delivery: Delivery, error: str, wall_now: Millis | None = None) -> None:
    """It did not go through and will not be tried again."""
    _move(engine, delivery, "sending", state="failed", settled_wall_ms=wall_now, last_error=error)


def dropped(engine: Engine, delivery: Delivery, reason: str, wall_now: Millis | None = None) -> None:
    """Its phone is told no more: the push service said so in answer to this attempt."""
    _move(engine, delivery, "sending", state="dropped", settled_wall_ms=wall_now, last_error=reason)


def notice(engine: Engine, notice_id: int) -> KeptNotice:
    """One notice as it was kept, without what became of it. Raises UnknownError where there is none."""
    with store.reading(engine) as session:
        row = session.get(NoticeRow, notice_id)
        if row is None:
            raise store.UnknownError(f"there is no notice {notice_id}")
        return _kept(row, {}, {})


def notices(engine: Engine, limit: int) -> list[KeptNotice]:
    """What was told or is held, the latest first, with what became of each.

    What was told within another notice is in that one; what was over before it was told is left out.
    """
    shown = col(NoticeRow.state).in_(("told", "held"))
    query = select(NoticeRow).where(shown).order_by(col(NoticeRow.id).desc())
    with store.reading(engine) as session:
        rows = list(session.exec(query.limit(limit)))
        ids = [row.id for row in rows]
        counts: dict[tuple[int, str], int] = {}
        for notice_id, state, number in session.exec(
            select(DeliveryRow.notice_id, DeliveryRow.state, func.count())
            .where(col(DeliveryRow.notice_id).in_(ids))
            .group_by(col(DeliveryRow.notice_id), col(DeliveryRow.state))
        ):
            counts[notice_id, state] = number
        errors: dict[int, str] = {}
        for delivery in session.exec(
            select(DeliveryRow)
            .where(col(DeliveryRow.notice_id).in_(ids), col(DeliveryRow.last_error).is_not(None))
            .order_by(col(DeliveryRow.subscription_id))
        ):
            errors[delivery.notice_id] = delivery.last_error or ""
        return [_kept(row, counts, errors) for row in rows]


def undelivered(engine: Engine, limit: int) -> list[Undelivered]:
    """What did not get through, or not yet, and was tried at least once; the latest notice first."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(DeliveryRow, NoticeRow, SubscriptionRow)
            .join(NoticeRow, col(NoticeRow.id) == col(DeliveryRow.notice_id))
            .join(SubscriptionRow, col(SubscriptionRow.id) == col(DeliveryRow.subscription_id))
            .where(DeliveryRow.state != "sent", (DeliveryRow.attempts > 0) | (DeliveryRow.state == "dropped"))
            .order_by(col(DeliveryRow.notice_id).desc(), col(DeliveryRow.subscription_id))
            .limit(limit)
        )
        return [
            Undelivered(
                title=notice.title,
                subscription=subscription_of(who),
                state=delivery.state,
                attempts=delivery.attempts,
                reason=delivery.last_error or "",
                at=delivery.next_try_wall_ms if delivery.state == "waiting" else delivery.settled_wall_ms,
            )
            for delivery, notice, who in rows
        ]


def _move(engine: Engine, delivery: Delivery, state_before: str, **values: Any) -> bool:
    """Change a delivery that is in that state; whether it was."""
    this: tuple[ColumnElement[bool], ...] = (
        col(DeliveryRow.notice_id) == delivery.notice_id,
        col(DeliveryRow.subscription_id) == delivery.subscription.id,
        col(DeliveryRow.state) == state_before,
    )
    with store.writing(engine) as session:
        result: CursorResult[Any] = session.connection().execute(
            update(DeliveryRow).where(*this).values(**values)
        )
        return result.rowcount == 1


def _kept(row: NoticeRow, counts: dict[tuple[int, str], int], errors: dict[int, str]) -> KeptNotice:
    notice_id = row.id or 0
    return KeptNotice(
        id=notice_id,
        key=row.key,
        cause=row.cause,
        tree_id=row.tree_id,
        title=row.title,
        body=row.body,
        at=row.at_ms,
        sent=counts.get((notice_id, "sent"), 0),
        waiting=counts.get((notice_id, "waiting"), 0),
        failed=counts.get((notice_id, "failed"), 0),
        maybe_sent=counts.get((notice_id, "sending"), 0),
        dropped=counts.get((notice_id, "dropped"), 0),
        last_error=errors.get(notice_id),
        held=row.state == "held",
    )
