"""The outbox: what people are to be told, once for each cause, and what became of it at each phone.

A delivery is `waiting`, then `sending` (kept before the request goes out), then `sent`, `failed`, `dropped`
(its phone is told no more) or `waiting` again. One that a crash left `sending` may have been sent: it stays
so, and is not sent again.
"""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, CursorResult, Engine, func, update
from sqlmodel import Session, col, select

from scheduler.forecast import Notice
from sensors.clock import Millis
from server.store import engine as store
from server.store.inserting import insert_into, table_of
from server.store.subscriptions import live, subscription_of
from server.store.tables import DeliveryRow, NoticeRow, SubscriptionRow
from server.store.values import Delivery, KeptNotice


def remember(engine: Engine, notices: Sequence[Notice], wall_now: Millis) -> int:
    """Keep the notices whose key is new, each with a delivery to every phone; how many were new.

    All in one transaction: a notice that is kept will be sent, and one that is not will come again.
    """
    if not notices:
        return 0
    with store.writing(engine) as session:
        phones = live(session)
        new = 0
        for notice in notices:
            notice_id = _keep(session, notice, wall_now)
            if notice_id is None:
                continue
            new += 1
            session.add_all(
                DeliveryRow(
                    notice_id=notice_id,
                    subscription_id=phone.id or 0,
                    state="waiting",
                    attempts=0,
                    next_try_wall_ms=wall_now,
                )
                for phone in phones
            )
        return new


def told(engine: Engine, tree_id: int) -> dict[str, Millis]:
    """The keys of a tree's notices, each with the shop time of its cause [ms]."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(NoticeRow.key, NoticeRow.at_ms)
            .where(NoticeRow.tree_id == tree_id)
            .order_by(col(NoticeRow.id))
        )
        return dict(rows.all())


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
            )
            for delivery, notice, phone in rows
        ]


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


def notices(engine: Engine, limit: int) -> list[KeptNotice]:
    """The notices, the latest first, with how many phones got each."""
    with store.reading(engine) as session:
        rows = list(session.exec(select(NoticeRow).order_by(col(NoticeRow.id).desc()).limit(limit)))
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


def _keep(session: Session, notice: Notice, wall_now: Millis) -> int | None:
    """Insert a notice; its number, or None where its key is known."""
    notice_id: int | None = session.connection().scalar(
        insert_into(session, NoticeRow)
        .values(
            key=notice.key,
            cause=notice.cause,
            tree_id=notice.tree_id,
            title=notice.title,
            body=notice.body,
            at_ms=notice.at,
            kept_wall_ms=wall_now,
        )
        .on_conflict_do_nothing(index_elements=["key"])
        .returning(table_of(NoticeRow).c.id)
    )
    return notice_id


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
    )
