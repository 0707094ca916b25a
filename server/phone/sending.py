"""Words that whatever sends to phones shares: what is sent, how urgent it is, what came of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

from server.store.values import Subscription

Urgency = Literal["very-low", "low", "normal", "high"]
"""RFC 8030 section 5.3: how much of its battery the phone should spend on it."""

Payload = Mapping[str, str | int | None]


@dataclass(frozen=True)
class Outcome:
    """What came of one sending.

    `sent`: the push service has it. `gone`: the phone no longer takes any; its subscription is to be
    dropped. `later`: try again, no earlier than `retry_after_s` if that is given. `refused`: trying again
    is of no use. `detail` is a sentence for the person who looks after the shop.
    """

    kind: Literal["sent", "gone", "later", "refused"]
    detail: str = ""
    retry_after_s: float | None = None


class Sender(Protocol):
    """Takes one message on its way to one phone."""

    async def send(
        self, subscription: Subscription, payload: Payload, ttl_s: int, urgency: Urgency, topic: str
    ) -> Outcome:
        """Send; never raises for what the network or the push service does."""
        ...
