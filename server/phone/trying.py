"""A test notice to one phone: past the outbox, at once, and once."""

from collections.abc import Callable

from sensors.clock import Millis
from server.phone.payload import TEST
from server.phone.sending import Sender
from server.store import subscriptions
from server.store.engine import Engine
from server.store.values import Subscription

KEEP_S = 60
"""A test that comes later than this would only puzzle [s]."""


async def try_phone(
    engine: Engine, sender: Sender, wall_clock: Callable[[], Millis], subscription: Subscription
) -> str:
    """Send the test notice: nothing where the push service took it, else why not, in a sentence.

    A phone that the push service does not know any more is dropped.
    """
    outcome = await sender.send(subscription, TEST, KEEP_S, "high", "test")
    if outcome.kind == "gone":
        subscriptions.drop(engine, subscription.id, outcome.detail, wall_clock())
    return "" if outcome.kind == "sent" else outcome.detail
