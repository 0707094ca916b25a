"""Web Push (RFC 8030, 8291, 8292): encrypts a notice for one phone, signs it, and hands it over."""

import asyncio
import base64
import hashlib
import json
import re

from server.phone.phone_address import check_subscription
from server.phone.sending import Outcome, Payload, Urgency
from server.phone.vapid import VapidKeys
from server.store.values import Subscription

PAYLOAD_BYTES = 3993
"""The longest plaintext in RFC 8291's one record of 4096 octets: 86 of header, 16 of tag, 1 of padding."""

DEFAULT_CONTACT = "mailto:nobody@slowcorner.invalid"
"""The `sub` of the signature where the shop names nobody.

RFC 8292 section 2.1 lets the claim be left out or be any `mailto:` or `https:` URI. The library that
signs wants one, and `.invalid` (RFC 2606) says plainly that nobody reads mail there. A push service that
insists on a real address
answers with a refusal; then the shop has to set its own."""


class WebPush:
    """Sends by Web Push, signed with the shop's own keys; `contact` is a `mailto:` or `https:` URI."""

    def __init__(self, keys: VapidKeys, contact: str = DEFAULT_CONTACT, timeout_s: float = 10.0) -> None:
        if not re.fullmatch(r"(mailto:[^@\s]+@[^@\s]+|https://\S+)", contact):
            raise ValueError(f"contact {contact!r} is neither like mailto:name@shop.example nor https://…")
        self._keys = keys
        self._contact = contact
        self._timeout_s = timeout_s

    async def send(
        self, subscription: Subscription, payload: Payload, ttl_s: int, urgency: Urgency, topic: str
    ) -> Outcome:
        """Encrypt, sign and send, off the event loop.

        `ttl_s` is how long the push service keeps it for a phone that is asleep [s]; 0 would lose it, so
        it is at least 1. `topic` makes a repeat replace what the phone has not fetched yet (RFC 8030
        section 5.4). Raises ValueError for a ttl or a topic that the RFC does not have.
        """
        if ttl_s < 1:
            raise ValueError(f"ttl {ttl_s} s would lose the notice of every sleeping phone: at least 1 s")
        if not re.fullmatch(r"[A-Za-z0-9_-]{1,32}", topic):
            raise ValueError(f"topic {topic!r} is not 1 to 32 characters of base64url")
        try:
            body = encode_payload(payload)
            check_subscription(subscription.endpoint, subscription.p256dh, subscription.auth)
        except ValueError as error:
            return Outcome("refused", str(error))
        headers = {"Urgency": urgency, "Topic": topic}
        return await asyncio.to_thread(self._post, subscription, body, ttl_s, headers)

    def _post(self, subscription: Subscription, body: bytes, ttl_s: int, headers: dict[str, str]) -> Outcome:
        # It takes a third of a second to load what it needs, which the first page need not wait for.
        from server.phone.push_request import post  # noqa: PLC0415 -- start-up time

        return post(
            subscription, body, self._keys.private, self._contact, ttl_s, headers, timeout_s=self._timeout_s
        )


def topic_of(key: str) -> str:
    """The RFC 8030 topic of a notice's key: 32 characters of base64url, always the same.

    >>> topic_of("")
    '47DEQpj8HBSa-_TImW-5JCeuQeRkm5NM'
    """
    return base64.urlsafe_b64encode(hashlib.sha256(key.encode()).digest())[:32].decode("ascii")


CUT = " … (the rest is on the page)"


def encode_payload(payload: Payload, limit: int = PAYLOAD_BYTES) -> bytes:
    """Write a payload as JSON of at most `limit` bytes; a `body` that is too long is cut, and says so.

    Raises ValueError when it does not fit even without its body.

    >>> encode_payload({"title": "Heron: fit to dip", "body": "Slowest was the vent joint, 30°."}).decode()
    '{"title":"Heron: fit to dip","body":"Slowest was the vent joint, 30°."}'
    >>> encode_payload({"body": "x" * 100}, limit=50).decode()
    '{"body":"xxxxxxxxx … (the rest is on the page)"}'
    """
    whole = _json(payload)
    if len(whole) <= limit:
        return whole
    body = str(payload.get("body") or "")
    if len(_json({**payload, "body": CUT})) > limit:
        raise ValueError(f"payload of {len(whole)} bytes does not fit into {limit}, even with its body cut")
    fits, too_long = 0, len(body) + 1
    while too_long - fits > 1:
        middle = (fits + too_long) // 2
        if len(_json({**payload, "body": body[:middle] + CUT})) <= limit:
            fits = middle
        else:
            too_long = middle
    return _json({**payload, "body": body[:fits].rstrip() + CUT})


def _json(payload: Payload) -> bytes:
    return json.dumps(payload, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")
