"""Who may do what, as it is kept: devices, pairing codes, tokens. Only hashes of secrets come here."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import Engine, update
from sqlmodel import col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.access_tables import AccessKeyRow, DeviceRow, PairingCodeRow, TokenRow
from server.store.inserting import insert_into, table_of


@dataclass(frozen=True)
class Device:
    """A paired browser; `role` is "acts" or "looks", times are the wall's [ms]."""

    id: int
    name: str
    role: str
    paired: Millis
    seen: Millis


@dataclass(frozen=True)
class Token:
    """A program's token; `scopes` are of "read", "act", "readings", times are the wall's [ms]."""

    id: int
    name: str
    scopes: tuple[str, ...]
    made: Millis
    seen: Millis | None


@dataclass(frozen=True)
class OpenCode:
    """A code that nobody has used yet."""

    id: int
    code_hash: str = field(repr=False)
    role: str


def signing_key(engine: Engine, fresh: str) -> str:
    """The key that signs cookies; `fresh` becomes it where there is none yet."""
    with store.reading(engine) as session:
        row = session.get(AccessKeyRow, 1)
        if row is not None:
            return row.key
    with store.writing(engine) as session:
        insert = insert_into(session, AccessKeyRow).on_conflict_do_nothing()
        session.connection().execute(insert, {"id": 1, "key": fresh})
        kept = session.get(AccessKeyRow, 1)
        assert kept is not None
        return kept.key


def add_code(engine: Engine, code_hash: str, role: str, until: Millis, now: Millis, most: int) -> None:
    """Keep a code; of those still open only the `most` newest stay so."""
    with store.writing(engine) as session:
        session.add(PairingCodeRow(code_hash=code_hash, role=role, until_wall_ms=until))
        session.flush()
        for row in session.exec(_open(now).offset(most)).all():
            row.used_wall_ms = now
            session.add(row)


def open_codes(engine: Engine, now: Millis) -> Sequence[OpenCode]:
    """Codes that may still be used, the newest first."""
    with store.reading(engine) as session:
        return [OpenCode(row.id or 0, row.code_hash, row.role) for row in session.exec(_open(now))]


def pair(engine: Engine, code_id: int, name: str, key_hash: str, now: Millis) -> Device | None:
    """Use a code up for a device, in one step; None where another one was quicker or time is over."""
    table = table_of(PairingCodeRow)
    with store.writing(engine) as session:
        used = session.connection().execute(
            update(table)
            .where(table.c.id == code_id, table.c.used_wall_ms.is_(None), table.c.until_wall_ms > now)
            .values(used_wall_ms=now)
        )
        code = session.get(PairingCodeRow, code_id)
        if used.rowcount != 1 or code is None:
            return None
        row = DeviceRow(name=name, role=code.role, key_hash=key_hash, paired_wall_ms=now, seen_wall_ms=now)
        session.add(row)
        session.flush()
        return _device(row)


def anyone_paired(engine: Engine) -> bool:
    """Whether a device was ever paired, revoked or not."""
    with store.reading(engine) as session:
        return session.exec(select(DeviceRow.id).limit(1)).first() is not None


def device_by_key(engine: Engine, key_hash: str) -> Device | None:
    """The device whose cookie holds that key, unless it was revoked."""
    wanted = select(DeviceRow).where(DeviceRow.key_hash == key_hash, col(DeviceRow.revoked_wall_ms).is_(None))
    with store.reading(engine) as session:
        row = session.exec(wanted).first()
        return None if row is None else _device(row)


def devices(engine: Engine) -> Sequence[Device]:
    """Devices that may come in, the last seen first."""
    wanted = select(DeviceRow).where(col(DeviceRow.revoked_wall_ms).is_(None))
    with store.reading(engine) as session:
        return [_device(row) for row in session.exec(wanted.order_by(col(DeviceRow.seen_wall_ms).desc()))]


def add_token(engine: Engine, name: str, scopes: Sequence[str], token_hash: str, now: Millis) -> Token:
    """Keep a token."""
    with store.writing(engine) as session:
        row = TokenRow(name=name, scopes=list(scopes), token_hash=token_hash, made_wall_ms=now)
        session.add(row)
        session.flush()
        return _token(row)


def token_by_hash(engine: Engine, token_hash: str) -> Token | None:
    """The token of that hash, unless it was revoked."""
    wanted = select(TokenRow).where(
        TokenRow.token_hash == token_hash, col(TokenRow.revoked_wall_ms).is_(None)
    )
    with store.reading(engine) as session:
        row = session.exec(wanted).first()
        return None if row is None else _token(row)


def tokens(engine: Engine) -> Sequence[Token]:
    """Tokens that hold, by name."""
    wanted = select(TokenRow).where(col(TokenRow.revoked_wall_ms).is_(None)).order_by(col(TokenRow.name))
    with store.reading(engine) as session:
        return [_token(row) for row in session.exec(wanted)]


def device_seen(engine: Engine, device_id: int, now: Millis) -> None:
    """Note when a device was here."""
    with store.writing(engine) as session:
        table = table_of(DeviceRow)
        session.connection().execute(update(table).where(table.c.id == device_id).values(seen_wall_ms=now))


def token_seen(engine: Engine, token_id: int, now: Millis) -> None:
    """Note when a token was used."""
    with store.writing(engine) as session:
        table = table_of(TokenRow)
        session.connection().execute(update(table).where(table.c.id == token_id).values(seen_wall_ms=now))


def revoke_device(engine: Engine, device_id: int, now: Millis) -> bool:
    """Let a device in no more; False where there is none."""
    return _revoke(engine, DeviceRow, device_id, now)


def revoke_token(engine: Engine, token_id: int, now: Millis) -> bool:
    """Take a token no more; False where there is none."""
    return _revoke(engine, TokenRow, token_id, now)


def _revoke(engine: Engine, kind: type[DeviceRow | TokenRow], row_id: int, now: Millis) -> bool:
    table = table_of(kind)
    with store.writing(engine) as session:
        done = session.connection().execute(
            update(table)
            .where(table.c.id == row_id, table.c.revoked_wall_ms.is_(None))
            .values(revoked_wall_ms=now)
        )
        return done.rowcount > 0


def _open(now: Millis):  # type: ignore[no-untyped-def]  # sqlmodel's own type of a select is not public
    return (
        select(PairingCodeRow)
        .where(col(PairingCodeRow.used_wall_ms).is_(None), PairingCodeRow.until_wall_ms > now)
        .order_by(col(PairingCodeRow.id).desc())
    )


def _device(row: DeviceRow) -> Device:
    return Device(row.id or 0, row.name, row.role, row.paired_wall_ms, row.seen_wall_ms)


def _token(row: TokenRow) -> Token:
    return Token(row.id or 0, row.name, tuple(row.scopes), row.made_wall_ms, row.seen_wall_ms)
