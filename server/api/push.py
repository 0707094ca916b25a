"""Which phones are to be told: a phone asks, looks how it stands, tries it, stops it, or puts a notice off.

A phone is known by its address at its push service, which nobody else knows; so these calls hold it in their
body, never in an address that is written into logs.
"""

from ipaddress import ip_address
from typing import Annotated, Literal
from urllib.parse import urlsplit

from fastapi import APIRouter, Path
from pydantic import BaseModel, Field, StringConstraints

from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, Wire
from server.parts import Parts
from server.phone.putting_off import LATER_MIN, LONGEST_MIN, put_off_notice
from server.store import phones as phone_store
from server.store import subscriptions as subscription_store

STOPPED = "it was asked for on the phone"

Endpoint = Annotated[str, StringConstraints(max_length=2000, pattern=r"^https?://[^\s]+$")]


class PushKeys(Wire):
    """A phone's keys (RFC 8291), base64url: its public key and its shared secret."""

    p256dh: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{86,90}=?$")]
    auth: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{22,24}={0,2}$")]


class PushSubscription(Wire):
    """A Web Push subscription (RFC 8030), as a browser's `PushSubscription.toJSON()` gives it.

    `replaces` is the address that this phone had before, where its push service gave it another one."""

    endpoint: Endpoint
    keys: PushKeys
    expiration_time: float | None = Field(default=None, alias="expirationTime")
    replaces: Endpoint | None = None


class PushAddress(Wire):
    """A phone, by its address at its push service."""

    endpoint: Endpoint


class Later(Wire):
    """Remind once more after so many minutes of the shop's time."""

    minutes: int = Field(default=LATER_MIN, ge=1, le=LONGEST_MIN)


class SubscriptionAnswer(BaseModel):
    """The subscription is kept under this id."""

    id: int


class PushKey(BaseModel):
    """The shop's public key, which a browser subscribes with (RFC 8292), base64url."""

    key: str


class PhoneStanding(BaseModel):
    """`told`; `dropped`, with the reason: it is told no more; or `unknown`: it never asked here."""

    state: Literal["told", "dropped", "unknown"]
    reason: str = ""


class TriedAnswer(BaseModel):
    """Whether the push service took the test notice, and if not, why."""

    sent: bool
    reason: str = ""


class PutOffAnswer(BaseModel):
    """The trees that are reminded of once more."""

    trees: list[int]


def push_router(parts: Parts) -> APIRouter:
    """The calls of phones that are told."""
    router = APIRouter(prefix="/api", tags=["push"])

    @router.get("/push/key", responses=documented())
    def key() -> PushKey:
        """The key that a browser needs to subscribe."""
        return PushKey(key=parts.vapid_public_key)

    @router.post("/push/subscriptions", status_code=201, responses=documented())
    def subscribe(subscription: PushSubscription) -> SubscriptionAnswer:
        """Tell this phone. The same endpoint again renews its keys."""
        if not acceptable(subscription.endpoint):
            detail = f"endpoint {subscription.endpoint!r} is not an https address (http is taken on loopback)"
            raise ProblemError(422, detail, "endpoint")
        if subscription.replaces is not None:
            phone_store.move(parts.engine, subscription.replaces, subscription.endpoint)
        keys = subscription.keys
        kept = subscription_store.subscribe(
            parts.engine, subscription.endpoint, keys.p256dh, keys.auth, parts.wall_clock()
        )
        return SubscriptionAnswer(id=kept.id)

    @router.post("/push/subscriptions/standing", responses=documented())
    def standing(address: PushAddress) -> PhoneStanding:
        """How a phone stands here. Changes nothing."""
        phone = phone_store.phone_at(parts.engine, address.endpoint)
        if phone is None:
            return PhoneStanding(state="unknown")
        if phone.dropped is None:
            return PhoneStanding(state="told")
        return PhoneStanding(state="dropped", reason=phone.reason)

    @router.post("/push/subscriptions/stop", responses=documented())
    def stop(address: PushAddress) -> PhoneStanding:
        """Tell this phone no more. Once more changes nothing."""
        phone = phone_store.phone_at(parts.engine, address.endpoint)
        if phone is not None:
            subscription_store.drop(parts.engine, phone.subscription.id, STOPPED, parts.wall_clock())
        return standing(address)

    @router.post("/push/subscriptions/test", responses=documented(409))
    async def test(address: PushAddress) -> TriedAnswer:
        """Send a test notice to this phone alone, once; returns when its push service has answered."""
        phone = phone_store.phone_at(parts.engine, address.endpoint)
        if phone is None or phone.dropped is not None:
            raise ProblemError(409, "this phone is not told: ask for that first", "not-told")
        reason = await parts.try_phone(phone.subscription)
        return TriedAnswer(sent=not reason, reason=reason)

    @router.post("/notices/{notice_id}/put-off", responses=documented(404, 409))
    def put_off(
        notice_id: Annotated[int, Path(ge=1, le=LARGEST_ID)], later: Later | None = None
    ) -> PutOffAnswer:
        """Later: remind once more of the trees that a notice tells of, unless they are dipped meanwhile."""
        found = put_off_notice(parts, notice_id, (later or Later()).minutes)
        if not found:
            detail = f"notice {notice_id} tells of no tree that could be reminded of"
            raise ProblemError(409, detail, "nothing-to-put-off")
        return PutOffAnswer(trees=[one.tree_id for one in found])

    return router


def acceptable(endpoint: str) -> bool:
    """Whether notices may be sent to an address: https, or http on this very machine.

    >>> acceptable("https://push.example/x"), acceptable("http://127.0.0.1:9/x"), acceptable("http://10.0.0.1/x")
    (True, True, False)
    """
    try:
        parts = urlsplit(endpoint)
        host = parts.hostname
    except ValueError:
        return False
    if not host:
        return False
    if parts.scheme == "https":
        return True
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False
