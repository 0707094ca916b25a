"""What came from a broker and is not acknowledged yet, in the order it came."""

import asyncio
from collections import deque
from collections.abc import Iterator
from typing import NamedTuple

from sensors.intake.broker import StoringError

LIMIT = 4 * 1024 * 1024
"""Bytes that may wait to be stored before no more are read from the broker, which then keeps them."""

MESSAGES = 2000
"""Messages that may: two batches. What is read further ahead is stored no sooner, for reading takes the
interpreter's lock away from storing."""

MESSAGE_OVERHEAD = 256
"""What a message counts for beyond its payload [bytes], so that many small ones are bounded too."""


class _Waiting(NamedTuple):
    packet_id: int
    qos: int
    size: int
    stored: asyncio.Future[object]


class InFlight:
    """The messages of one connection between their arrival and their acknowledgement."""

    def __init__(self) -> None:
        self._waiting: deque[_Waiting] = deque()
        self._bytes = 0

    @property
    def full(self) -> bool:
        """Whether no more should be read for now."""
        return self._bytes > LIMIT or len(self._waiting) >= MESSAGES

    @property
    def has_room(self) -> bool:
        """Whether there is room again for a good while."""
        return self._bytes < LIMIT // 2 and len(self._waiting) < 3 * MESSAGES // 4

    @property
    def oldest(self) -> asyncio.Future[object] | None:
        """What is done when the message that came first is stored; None where nothing waits."""
        return self._waiting[0].stored if self._waiting else None

    def add(self, packet_id: int, qos: int, length: int, stored: asyncio.Future[object]) -> None:
        """Take note of a message with a payload of so many bytes; `stored` is done when it is stored."""
        size = length + MESSAGE_OVERHEAD
        self._waiting.append(_Waiting(packet_id, qos, size, stored))
        self._bytes += size

    def stored(self) -> Iterator[tuple[int, int]]:
        """Take out what is stored: packet identifier and quality of service of each, in order (MQTT 4.6).

        Raises StoringError at the first that could not be stored: to acknowledge what came after it would
        be to tell the broker that all before is settled.
        """
        while self._waiting and self._waiting[0].stored.done():
            packet_id, qos, size, stored = self._waiting.popleft()
            self._bytes -= size
            error = None if stored.cancelled() else stored.exception()
            if stored.cancelled() or error is not None:
                raise StoringError(str(error or "storing was given up"))
            yield packet_id, qos

    async def settle(self, patience_s: float) -> None:
        """Wait until all is stored or has failed, for so long at most [s]."""
        left = [one.stored for one in self._waiting]
        if left:
            await asyncio.wait(left, timeout=patience_s)

    def forget(self) -> None:
        """Drop all of it: the connection is over, and its packet identifiers mean nothing any more."""
        for one in self._waiting:
            one.stored.add_done_callback(_look_at)
        self._waiting.clear()
        self._bytes = 0


def _look_at(stored: asyncio.Future[object]) -> None:
    """Take note of how a forgotten message ended, which nobody else does any more."""
    if not stored.cancelled():
        stored.exception()
