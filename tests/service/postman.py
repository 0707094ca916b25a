"""What trials of the outbox share: two notices, a sender that sends nothing, a wall clock moved by hand."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field

from scheduler.forecast import Notice
from scheduler.ledger import Settlement
from scheduler.summary import words
from sensors.clock import SECOND_MS, Millis
from server.phone.outbox import Outbox
from server.phone.sending import Outcome, Payload, Urgency
from server.store import held_notices, notices, subscriptions
from server.store.engine import Engine
from server.store.values import KeptNotice, Subscription

MORNING: Millis = 1_772_431_200_000
FIT = Notice("fit:1:4:0", "fit", 1, "Heron: fit to dip", "Coat 5 of 10 (backup) may go on.", MORNING)
GAP = Notice("unsure:2:3:0", "unsure", 2, "Teal: unsure", "No air is known since 04:00.", MORNING)


@dataclass
class WallClock:
    now: Millis = MORNING

    def __call__(self) -> Millis:
        return self.now

    def advance_s(self, seconds: float) -> None:
        self.now += round(seconds * SECOND_MS)


@dataclass
class Postman:
    """A sender that notes what it was given and answers as told: `sent` where nothing is told."""

    answers: list[Outcome | BaseException] = field(default_factory=list)
    sent: list[tuple[int, Payload, int, Urgency, str]] = field(default_factory=list)

    async def send(
        self, subscription: Subscription, payload: Payload, ttl_s: int, urgency: Urgency, topic: str
    ) -> Outcome:
        self.sent.append((subscription.id, payload, ttl_s, urgency, topic))
        answer = self.answers.pop(0) if self.answers else Outcome("sent")
        if isinstance(answer, BaseException):
            raise answer
        return answer

    @property
    def titles(self) -> list[object]:
        return [payload["title"] for _, payload, *_ in self.sent]


def add_phone(engine: Engine, name: str = "one") -> Subscription:
    return subscriptions.subscribe(engine, f"https://push.example/{name}", "p256dh", "auth", MORNING)


def tell(engine: Engine, wanted: Sequence[Notice], wall_now: Millis = MORNING) -> int:
    """Have each told in a message of its own; how many were new."""
    return sum(
        held_notices.settle(engine, Settlement((one,), frozenset(), (one,)), words, wall_now, wall_now)[0]
        for one in wanted
    )


def run(outbox: Outbox) -> float | None:
    return asyncio.run(asyncio.wait_for(outbox.run_once(), 20.0))


def told(engine: Engine) -> KeptNotice:
    (notice,) = notices.notices(engine, 10)
    return notice
