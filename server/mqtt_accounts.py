"""The nodes' logins at the built-in listener: passwords made, checked against argon2 hashes, and paced.

A hash takes its time and its memory on purpose, so a login that was right once is known again by a keyed
digest that lives in this process alone, and wrong ones wait longer and longer before one is reckoned again.
"""

import hmac
import secrets
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from time import monotonic

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import Engine

from sensors.clock import Millis
from sensors.intake.topic_rules import allows
from sensors.reading import KeptOutError
from sensors.topics import ROOT, parse_topic
from server.data_folder import DATABASE
from server.settings import Settings
from server.store import mqtt_accounts
from server.store.engine import StoreError, open_store
from server.store.mqtt_accounts import MqttAccount

FREE_TRIES = 3
"""Wrong passwords in a row that cost a name no wait: assumed, a person mistypes."""

LONGEST_WAIT_S = 60.0

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
    """Checks logins, in whatever thread, and says in the event loop where each may publish.

    `seconds` tells a time that only grows [s].
    """

    def __init__(
        self, engine: Engine, hasher: PasswordHasher, seconds: Callable[[], float] = monotonic
    ) -> None:
        self._engine = engine
        self._hasher = hasher
        self._seconds = seconds
        self._key = secrets.token_bytes(32)
        self._known: dict[str, tuple[str, bytes]] = {}
        self._wrong: dict[str, tuple[int, float]] = {}
        self._topics: dict[str, Sequence[str]] = {}
        self._lock = threading.Lock()

    def login(self, user_name: str, password: bytes) -> bool:
        """Whether an account that holds has this name and password.

        A name that had too many wrong ones is refused unheard until its wait is over, except for a login
        that was right before: a stranger's guesses keep no node out that has been here.
        """
        account = mqtt_accounts.by_name(self._engine, user_name)
        digest = hmac.digest(self._key, password, "sha256")
        if account is not None and account.revoked is None and self._is_known(account, digest):
            self._topics[user_name] = account.topics
            return True
        name = UNKNOWN if account is None else user_name
        with self._lock:
            if self._seconds() < self._wrong.get(name, (0, 0.0))[1]:
                return False
        if account is None or account.revoked is not None or not self._is_right(account, password):
            self._slow_down(name)
            return False
        with self._lock:
            self._wrong.pop(name, None)
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

    def _slow_down(self, name: str) -> None:
        with self._lock:
            count = self._wrong.get(name, (0, 0.0))[0] + 1
            over = count - FREE_TRIES
            wait_s = 0.0 if over < 0 else min(2.0 ** min(over, 10), LONGEST_WAIT_S)
            self._wrong[name] = (count, self._seconds() + wait_s)
