"""Notices from when they are due until they are told: held, told alone or within another one, or moot."""

from collections.abc import Sequence

from sqlalchemy import Engine, func, update
from sqlmodel import Session, col, select

from scheduler.forecast import Notice
from scheduler.ledger import Held, Settlement, Words
from sensors.clock import Millis
from server.store import engine as store
from server.store.inserting import insert_into, table_of
from server.store.subscriptions import live
from server.store.tables import DeliveryRow, NoticeRow

TOGETHER = "together"
"""The cause of a message that tells of several notices."""


def settle(
    engine: Engine, settlement: Settlement, words: Words, now: Millis, wall_now: Millis
) -> tuple[int, int | None]:
    """Keep what one look came to; how many notices were new, and the number of the one that is told now.

    All in one transaction: what is told has a delivery to everybody who is told, what is held will be looked
    at again. What is held or told is not kept again, and only what is held is told: so each is told once.
    """
    with store.writing(engine) as session:
        kept = [_keep(session, notice, wall_now) for notice in settlement.new]
        _set_moot(session, settlement.moot)
        said = {notice.key: notice for notice in settlement.tell}
        held_now = session.exec(
            select(NoticeRow).where(NoticeRow.state == "held", col(NoticeRow.key).in_(said))
        )
        by_key = {row.key: row for row in held_now}
        rows = [by_key[key] for key in said if key in by_key]
        for row in rows:
            row.title, row.body = said[row.key].title, said[row.key].body
            row.told_ms = now
            session.add(row)
        told = _tell(session, rows, [said[row.key] for row in rows], words, now, wall_now) if rows else None
        return sum(kept), told


def told(engine: Engine, tree_id: int) -> dict[str, Millis]:
    """The keys of what was told of a tree, alone or together, each with the shop time of its cause [ms]."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(NoticeRow.key, NoticeRow.at_ms)
            .where(NoticeRow.tree_id == tree_id, col(NoticeRow.state).in_(("told", "within")))
            .order_by(col(NoticeRow.id))
        )
        return dict(rows.all())


def held(engine: Engine) -> list[Held]:
    """What is held, in the order in which it was kept."""
    with store.reading(engine) as session:
        rows = session.exec(select(NoticeRow).where(NoticeRow.state == "held").order_by(col(NoticeRow.id)))
        return [Held(row.key, row.cause, row.tree_id, row.at_ms) for row in rows]


def last_told(engine: Engine) -> dict[str, Millis]:
    """For each cause the shop time at which a notice of it was last told [ms]."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(NoticeRow.cause, func.max(NoticeRow.told_ms))
            .where(col(NoticeRow.told_ms).is_not(None))
            .group_by(col(NoticeRow.cause))
        )
        return {cause: at for cause, at in rows if at is not None}


def trees_of(engine: Engine, notice_id: int) -> list[int]:
    """The trees that a notice speaks of, by id. Raises UnknownError where there is no such notice."""
    with store.reading(engine) as session:
        if session.get(NoticeRow, notice_id) is None:
            raise store.UnknownError(f"there is no notice {notice_id}")
        rows = session.exec(
            select(NoticeRow.tree_id).where(
                (col(NoticeRow.id) == notice_id) | (col(NoticeRow.told_in) == notice_id)
            )
        )
        return sorted({tree_id for tree_id in rows if tree_id is not None})


def keys_of(engine: Engine, notice_id: int) -> list[str]:
    """The keys of what a message tells of: its own, or those of the notices that are told within it."""
    with store.reading(engine) as session:
        within = list(session.exec(select(NoticeRow.key).where(NoticeRow.told_in == notice_id)))
        return within or list(session.exec(select(NoticeRow.key).where(NoticeRow.id == notice_id)))


def _keep(session: Session, notice: Notice, wall_now: Millis) -> bool:
    """Keep a notice, held; False where it is held or told under its key. What was moot is held again."""
    insert = insert_into(session, NoticeRow).values(
        key=notice.key,
        cause=notice.cause,
        tree_id=notice.tree_id,
        title=notice.title,
        body=notice.body,
        at_ms=notice.at,
        kept_wall_ms=wall_now,
        state="held",
    )
    number = session.connection().scalar(
        insert.on_conflict_do_update(
            index_elements=["key"],
            set_={"state": "held", "at_ms": insert.excluded.at_ms},
            where=table_of(NoticeRow).c.state == "moot",
        ).returning(table_of(NoticeRow).c.id)
    )
    return number is not None


def _set_moot(session: Session, keys: frozenset[str]) -> None:
    if keys:
        session.connection().execute(
            update(NoticeRow)
            .where(col(NoticeRow.state) == "held", col(NoticeRow.key).in_(keys))
            .values(state="moot")
        )


def _tell(
    session: Session,
    rows: Sequence[NoticeRow],
    notices: Sequence[Notice],
    words: Words,
    now: Millis,
    wall_now: Millis,
) -> int:
    """Tell of held notices in one message; its number."""
    message = rows[0]
    if len(rows) > 1:
        title, body = words(notices)
        message = NoticeRow(
            key=f"{TOGETHER}:{rows[0].id}",
            cause=TOGETHER,
            title=title,
            body=body,
            at_ms=now,
            kept_wall_ms=wall_now,
            told_ms=now,
        )
        session.add(message)
        session.flush()
        for row in rows:
            row.state, row.told_in = "within", message.id
    message.state = "told"
    session.add_all(
        DeliveryRow(
            notice_id=message.id or 0,
            subscription_id=who.id or 0,
            state="waiting",
            attempts=0,
            next_try_wall_ms=wall_now,
        )
        for who in live(session)
    )
    return message.id or 0
