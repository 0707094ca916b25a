"""The nodes' logins at the built-in listener: passwords made, checked against argon2 hashes, and paced.

A hash takes its time and its memory on purpose, so a login that was right once is known again by a keyed
digest that lives in this process alone, and wrong ones wait longer and longer before one is reckoned again.
"""

import hmac
import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import Engine

from sensors.clock import Millis
from sensors.intake.topic_rules import allows
from sensors.reading import KeptOutError
from sensors.topics import ROOT, parse_topic
from server.data_folder import DATABASE
from server.login_pace import LoginPace
from server.settings import Settings
from server.store import mqtt_accounts
from server.store.engine import StoreError, open_store
from server.store.mqtt_accounts import MqttAccount

UNKNOWN = ""
"""All names that have no account share one pace, so that guesses at names fill no memory."""


class AccountError(Exception):
    """No account can be made or taken back; the text says why."""


def new_password(settings: Settings, place: str, node: str, now: Millis) -> tuple[str, str]:
    """What `make_account` gives, in the store of the settings. Raises AccountError."""
    with _store(settings) as engine:
        return make_account(engine, place, node, now, usual_hasher())


def take_back(settings: Settings, place: str, node: str, now: Millis) -> None:
    """Revoke a node's account in the store of the settings. Raises AccountError where there is none."""
    with _store(settings) as engine:
        if not mqtt_accounts.revoke(engine, f"{place}/{node}", now):
            raise AccountError(f"{place}/{node} has no password that could be taken back")


def make_account(
    engine: Engine, place: str, node: str, now: Millis, hasher: PasswordHasher
) -> tuple[str, str]:
    """Make an account for a node, or a new password for it: the user name and the password, told only now.

    It may publish under the node's own topics alone. Raises KeptOutError where place or node is no name.
    """
    parse_topic(f"{ROOT}/{place}/{node}/senml")
    user_name, password = f"{place}/{node}", secrets.token_urlsafe(18)
    topics = (f"{ROOT}/{place}/{node}/+",)
    mqtt_accounts.add(engine, MqttAccount(user_name, hasher.hash(password), topics, now))
    return user_name, password


def usual_hasher() -> PasswordHasher:
    """Argon2id (RFC 9106) with 19 MiB, two passes, one lane: common practice's lower end, from memory.

    Less than the RFC's own options on purpose: the passwords are made here of 144 random bits, which nobody
    guesses whatever a hash costs, and after a start 200 nodes come back at once on a small board.
    """
    return PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)


@contextmanager
def _store(settings: Settings) -> Iterator[Engine]:
    if not settings.database and not (settings.data / DATABASE).exists():
        raise AccountError(
            f"there is no store in {settings.data} yet: start `slowcorner serve` with it first"
        )
    try:
        engine = open_store(settings.database_url)
        try:
            yield engine
        finally:
            engine.dispose()
    except (StoreError, KeptOutError) as error:
        raise AccountError(str(error)) from error


class Logins:
    """Checks logins, in whatever thread, and says in the event loop where each may publish."""

    def __init__(self, engine: Engine, hasher: PasswordHasher, pace: LoginPace | None = None) -> None:
        self._engine = engine
        self._hasher = hasher
        self.pace = LoginPace() if pace is None else pace
        self._key = secrets.token_bytes(32)
        self._known: dict[str, tuple[str, bytes]] = {}
        self._topics: dict[str, Sequence[str]] = {}

    def any_holds(self) -> bool:
        """Whether there is an account that is not revoked."""
        return any(one.revoked is None for one in mqtt_accounts.accounts(self._engine))

    def login(self, user_name: str, password: bytes, address: str) -> bool:
        """Whether an account that holds has this name and password; `address` is where it is asked from.

        Who had too many wrong ones is refused unheard until the wait is over, except for a login that was
        right before: a stranger's guesses keep no node out that has been here.
        """
        account = mqtt_accounts.by_name(self._engine, user_name)
        digest = hmac.digest(self._key, password, "sha256")
        if account is not None and account.revoked is None and self._is_known(account, digest):
            self._topics[user_name] = account.topics
            return True
        name = UNKNOWN if account is None else user_name
        if not self.pace.may_try(name, address):
            return False
        if account is None or account.revoked is not None or not self._is_right(account, password):
            self.pace.was_wrong(name, address)
            return False
        self.pace.was_right(name, address)
        self._known[user_name] = (account.password_hash, digest)
        self._topics[user_name] = account.topics
        return True

    def may_publish(self, user_name: str, topic: str) -> bool:
        """Whether who is let in by this name may publish there."""
        return allows(self._topics.get(user_name, ()), user_name, topic)

    def _is_known(self, account: MqttAccount, digest: bytes) -> bool:
        password_hash, known = self._known.get(account.user_name, ("", b""))
        return password_hash == account.password_hash and hmac.compare_digest(known, digest)

    def _is_right(self, account: MqttAccount, password: bytes) -> bool:
        try:
            return self._hasher.verify(account.password_hash, password)
        except (VerificationError, InvalidHashError):
            return False
