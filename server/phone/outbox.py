"""Empties the outbox: each notice once to each phone and channel, as far as HTTP allows.

That an attempt is made is on the disk before the request goes out. So a service that is killed in the
middle does not send again what may have been sent; such a delivery stays `sending` and is shown as "may
have been sent". Where the push service was reached and gave no answer in time, the notice is tried again:
it goes out under the same topic and tag, so that on the phone a second copy takes the place of the first
in silence.
"""

import asyncio
import logging
from collections.abc import Callable, Mapping, Sequence

from sensors.clock import MINUTE_MS, SECOND_MS, Millis
from server.phone.payload import payload_of
from server.phone.sending import Outcome, Sender, Urgency
from server.phone.web_push import topic_of
from server.store import notices, subscriptions
from server.store.engine import Engine
from server.store.values import Delivery
from server.units import SI, Units, units_of

log = logging.getLogger(__name__)

BACK_OFF_S = (30, 120, 600, 3600, 6 * 3600)
"""How long to wait after the first, second, … attempt that failed [s]. After one more it is given up."""

KEEP_S = 24 * 3600
"""How long the push service keeps a notice for a phone that is asleep [s]."""

OLD_MS = 15 * MINUTE_MS
"""What could not be sent for so long is sent only if it still holds [ms of the wall]."""

AT_ONCE = 50
PHONES_AT_ONCE = 4

URGENCY: dict[str, Urgency] = {"fit": "high", "not-fit": "high", "together": "high"}
"""A tree that is fit, or was not after all, waits for the caster's hands; the rest, till the phone wakes."""


class Outbox:
    """Sends what is due, by the sender for its kind of channel.

    `may_send` is asked before anything leaves; `still_holds` whether what waited for long is worth sending.
    `on_settled` hears of every attempt that came to an end, and how.
    """

    def __init__(
        self,
        engine: Engine,
        senders: Mapping[str, Sender],
        wall_clock: Callable[[], Millis],
        on_settled: Callable[[Delivery, Outcome], None] = lambda _delivery, _outcome: None,
        *,
        may_send: Callable[[], bool] = lambda: True,
        still_holds: Callable[[Delivery], bool] = lambda _delivery: True,
    ) -> None:
        self._engine = engine
        self._senders = senders
        self._wall_clock = wall_clock
        self._on_settled = on_settled
        self._may_send = may_send
        self._still_holds = still_holds

    async def run_once(self) -> float | None:
        """Send what is due now, to each phone in order and to several phones at a time.

        Returns after how many seconds there is more to do, or None: nothing that is known of. If the
        store fails, or the sender does what it must not and raises, the others are still served; then the
        first fault is raised.
        """
        if not await asyncio.to_thread(self._may_send):
            return None
        due = await asyncio.to_thread(notices.due_deliveries, self._engine, self._wall_clock(), AT_ONCE)
        units = await asyncio.to_thread(units_of, self._engine) if due else SI
        by_phone: dict[int, list[Delivery]] = {}
        for delivery in sorted(due, key=lambda delivery: delivery.notice_id):
            by_phone.setdefault(delivery.subscription.id, []).append(delivery)
        gate = asyncio.Semaphore(PHONES_AT_ONCE)
        results = await asyncio.gather(
            *(self._serve(deliveries, units, gate) for deliveries in by_phone.values()),
            return_exceptions=True,
        )
        for result in results:
            if isinstance(result, BaseException):
                raise result
        return 0.0 if len(due) == AT_ONCE else None

    async def _serve(self, deliveries: Sequence[Delivery], units: Units, gate: asyncio.Semaphore) -> None:
        async with gate:
            sender = self._senders[deliveries[0].subscription.kind]
            for delivery in deliveries:
                if not await asyncio.to_thread(self._begin, delivery):
                    continue
                outcome = await sender.send(
                    delivery.subscription,
                    payload_of(delivery, units),
                    KEEP_S,
                    URGENCY.get(delivery.cause, "normal"),
                    topic_of(delivery.key),
                )
                await asyncio.to_thread(self._settle, delivery, outcome)
                self._on_settled(delivery, outcome)
                if outcome.kind == "later":
                    return  # what else is due to this phone waits for the next look, not for the same silence

    def _begin(self, delivery: Delivery) -> bool:
        now = self._wall_clock()
        if now - delivery.kept > OLD_MS and not self._still_holds(delivery):
            notices.over(self._engine, delivery, "it was over before it could be sent", now)
            return False
        return notices.begin_attempt(self._engine, delivery)

    def _settle(self, delivery: Delivery, outcome: Outcome) -> None:
        now = self._wall_clock()
        attempt = delivery.attempts + 1
        to = "phone" if delivery.subscription.kind == "push" else "channel"
        who = f"notice {delivery.title!r} to {to} {delivery.subscription.id}"
        match outcome.kind:
            case "sent":
                notices.delivered(self._engine, delivery, now)
            case "gone":
                notices.dropped(self._engine, delivery, outcome.detail, now)
                subscriptions.drop(self._engine, delivery.subscription.id, outcome.detail, now)
                log.info("phone %d takes no notices any more: %s", delivery.subscription.id, outcome.detail)
            case "refused":
                notices.failed(self._engine, delivery, outcome.detail, now)
                log.warning("%s was refused: %s", who, outcome.detail)
            case "later" if attempt > len(BACK_OFF_S):
                notices.failed(self._engine, delivery, outcome.detail, now)
                log.warning("%s was given up after %d attempts: %s", who, attempt, outcome.detail)
            case "later":
                wait_s = max(float(BACK_OFF_S[attempt - 1]), outcome.retry_after_s or 0.0)
                notices.postponed(self._engine, delivery, outcome.detail, now + round(wait_s * SECOND_MS))
                log.info("%s is tried again in %g s: %s", who, wait_s, outcome.detail)
