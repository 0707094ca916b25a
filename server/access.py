"""Who may do what: browsers are paired by a code and keep a signed cookie, programs show a token.

Until someone has paired, whoever sits at this machine may do all; from then on everyone must show one of
the two.
"""

import hashlib
import secrets
from collections.abc import Callable, Collection
from dataclasses import dataclass
from threading import Lock
from time import monotonic
from typing import Literal, cast, get_args

from argon2.exceptions import InvalidHashError, VerificationError
from itsdangerous import BadSignature, URLSafeTimedSerializer

from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from server.mqtt_accounts import usual_hasher
from server.store import access as kept
from server.store.access import Device
from server.store.engine import Engine

Role = Literal["acts", "looks"]
Scope = Literal["read", "act", "readings"]

SIGNS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
"""Of a code: none that looks like another one (no I, L, O, 0, 1)."""

CODE_SIGNS = 8
CODE_MS = 10 * MINUTE_MS
OPEN_CODES = 5
"""So many codes may wait at a time: each costs a hash whenever a wrong one is tried."""

COOKIE_S = 400 * 24 * 3600
"""The longest that browsers keep a cookie (the draft that follows RFC 6265 has 400 days; from memory)."""

WRONG_PER_MINUTE = 5
LONGEST_WAIT_S = 3600.0

SEEN_MS = HOUR_MS
"""How exactly it is known when a device was last here: a write at each glance would wear the disk."""

LONGEST_NAME = 64


class NotPairedError(Exception):
    """A code that does not pair; the text says why and what to do. `wait_s`: not before so long [s]."""

    def __init__(self, text: str, wait_s: float = 0.0) -> None:
        super().__init__(text)
        self.wait_s = wait_s


@dataclass(frozen=True)
class Visitor:
    """Who asks: what they may do, and which device that is (0: none; a program, or whoever is here)."""

    scopes: frozenset[Scope]
    device: int = 0
    program: bool = False


ANYONE = Visitor(frozenset(get_args(Scope)))
BY_ROLE: dict[Role, frozenset[Scope]] = {
    "acts": frozenset(get_args(Scope)),
    "looks": frozenset({"read"}),
}


class Access:
    """Codes, devices and tokens of one store. `now` is the wall's time [ms]; `seconds` only grows [s].

    `always_open` is for the demo, which serves this machine alone; `never_open` where others than this
    machine's own people could come in before anyone has paired.
    """

    def __init__(
        self,
        engine: Engine,
        now: Callable[[], Millis],
        *,
        always_open: bool = False,
        never_open: bool = False,
        seconds: Callable[[], float] = monotonic,
    ) -> None:
        self._engine, self._now = engine, now
        self._always_open, self._never_open = always_open, never_open
        self._pace = Pace(seconds)
        self._hasher = usual_hasher()
        self._paired = False
        self._serializer: URLSafeTimedSerializer | None = None

    def is_open(self) -> bool:
        """Whether this machine's own people need to show nothing."""
        return self._always_open or not (self._never_open or self.anyone_paired())

    @property
    def is_demo(self) -> bool:
        """Whether nobody ever needs to show anything."""
        return self._always_open

    def anyone_paired(self) -> bool:
        """Whether a device was ever paired: also one that was revoked, for then a stranger may be about."""
        self._paired = self._paired or kept.anyone_paired(self._engine)
        return self._paired

    def new_code(self, role: Role) -> str:
        """A code that pairs one device within ten minutes, told only now."""
        code = "".join(secrets.choice(SIGNS) for _ in range(CODE_SIGNS))
        now = self._now()
        kept.add_code(self._engine, self._hasher.hash(code), role, now + CODE_MS, now, OPEN_CODES)
        return code

    def pair(self, typed: str, name: str) -> str:
        """Pair a device by the code that was typed: its cookie's value. Raises NotPairedError."""
        code = typed.upper().replace(" ", "").replace("-", "")
        name = " ".join(name.split())
        if not name or len(name) > LONGEST_NAME:
            raise NotPairedError(f"the device’s name has {len(name)} signs: 1 to {LONGEST_NAME} are taken")
        wait_s = self._pace.claim()
        if wait_s > 0:
            raise NotPairedError(
                f"too many wrong codes: none is heard for another {max(round(wait_s), 1)} s", wait_s
            )
        key = secrets.token_urlsafe(32)
        for waiting in kept.open_codes(self._engine, self._now()) if len(code) == CODE_SIGNS else ():
            if self._is_code(waiting.code_hash, code):
                device = kept.pair(self._engine, waiting.id, name, hashed(key), self._now())
                if device is not None:
                    self._pace.forgive()
                    return str(self._cookies().dumps(key))
        raise NotPairedError(
            "this is no code that can be used now: each is good once, for ten minutes. "
            "A paired device makes another one under Shop; so does `slowcorner pair` at the machine"
        )

    def by_cookie(self, cookie: str) -> Visitor | None:
        """The device that shows this cookie; None where it is not let in."""
        device = self.device(cookie)
        if device is None:
            return None
        now = self._now()
        if now - device.seen >= SEEN_MS:
            kept.device_seen(self._engine, device.id, now)
        return Visitor(BY_ROLE[cast(Role, device.role)], device.id)

    def device(self, cookie: str) -> Device | None:
        """The device of a cookie that was signed here, in the last 400 days, and not revoked."""
        try:
            key = self._cookies().loads(cookie, max_age=COOKIE_S)
        except BadSignature:
            return None
        return kept.device_by_key(self._engine, hashed(str(key)))

    def by_token(self, token: str) -> Visitor | None:
        """The program that shows this token; None where it is not let in."""
        found = kept.token_by_hash(self._engine, hashed(token))
        if found is None:
            return None
        now = self._now()
        if found.seen is None or now - found.seen >= SEEN_MS:
            kept.token_seen(self._engine, found.id, now)
        return Visitor(cast(frozenset[Scope], frozenset(found.scopes)), program=True)

    def new_token(self, name: str, scopes: Collection[str]) -> str:
        """A token for a program, told only now. Raises ValueError where name or scopes cannot be."""
        name = " ".join(name.split())
        if not name or len(name) > LONGEST_NAME:
            raise ValueError(f"a token’s name has {len(name)} signs: 1 to {LONGEST_NAME} are taken")
        strange = sorted(set(scopes) - set(get_args(Scope)))
        if strange or not scopes:
            raise ValueError(
                f"scope {strange[0]!r} is none of read, act, readings" if strange else "a token needs a scope"
            )
        token = "slow_" + secrets.token_urlsafe(32)
        kept.add_token(self._engine, name, sorted(set(scopes)), hashed(token), self._now())
        return token

    def revoke_device(self, device_id: int) -> bool:
        """Let a device in no more, from the next thing it asks."""
        return kept.revoke_device(self._engine, device_id, self._now())

    def revoke_token(self, token_id: int) -> bool:
        """Take a token no more."""
        return kept.revoke_token(self._engine, token_id, self._now())

    def revoke_tokens_of(self, name: str) -> int:
        """Take every token of that name no more; how many there were."""
        mine = [token.id for token in kept.tokens(self._engine) if token.name == name]
        return sum(self.revoke_token(token_id) for token_id in mine)

    def _cookies(self) -> URLSafeTimedSerializer:
        if self._serializer is None:
            key = kept.signing_key(self._engine, secrets.token_urlsafe(32))
            self._serializer = URLSafeTimedSerializer(
                key, salt="device", signer_kwargs={"digest_method": hashlib.sha256}
            )
        return self._serializer

    def _is_code(self, code_hash: str, code: str) -> bool:
        try:
            return self._hasher.verify(code_hash, code)
        except (VerificationError, InvalidHashError):
            return False


class Pace:
    """Counts tries at codes, from wherever they come: after five in a minute none is heard for a while.

    The while doubles from a minute to an hour, until a right code comes. A try counts before it is looked
    at, so that many at once are no way round.
    """

    def __init__(self, seconds: Callable[[], float]) -> None:
        self._seconds = seconds
        self._tries: list[float] = []
        self._wait_s = 60.0
        self._until = float("-inf")
        self._lock = Lock()

    def claim(self) -> float:
        """Count a try that may be looked at: 0; or how long none is heard yet, and nothing is counted [s]."""
        with self._lock:
            now = self._seconds()
            if now < self._until:
                return self._until - now
            self._tries = [then for then in self._tries if now - then < 60.0] + [now]
            if len(self._tries) >= WRONG_PER_MINUTE:
                self._until, self._tries = now + self._wait_s, []
                self._wait_s = min(self._wait_s * 2, LONGEST_WAIT_S)
            return 0.0

    def forgive(self) -> None:
        """A right code came."""
        with self._lock:
            self._tries, self._wait_s, self._until = [], 60.0, float("-inf")


def hashed(secret: str) -> str:
    """A long random secret as it is kept: SHA-256, enough where nobody can guess the secret itself."""
    return hashlib.sha256(secret.encode()).hexdigest()
