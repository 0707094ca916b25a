"""A client's messages between their arrival and their acknowledgement, in the order they came."""

import asyncio
from collections import deque
from typing import NamedTuple

from sensors.intake.reason_codes import Reason

IN_FLIGHT_LIMIT = 512 * 1024
"""Bytes a client may have waiting to be stored before no more are read from it."""

MESSAGE_OVERHEAD = 256
"""What a message counts for beyond its payload [bytes], so that many small ones are bounded too."""


class Taken(NamedTuple):
    """A message that came: how it is to be acknowledged, if at all, once `stored` is done."""

    packet_id: int | None
    length: int
    stored: asyncio.Future[object]
    code: Reason = Reason.SUCCESS
    reason: str = ""


class Unsettled:
    """What one connection has waiting. One task adds and another settles."""

    def __init__(self) -> None:
        self._waiting: deque[Taken] = deque()
        self._bytes = 0
        self._room = asyncio.Event()
        self._news = asyncio.Event()
        self._ended = False

    async def add(self, taken: Taken) -> None:
        """Take note of a message, and wait while there is too much of them."""
        self._waiting.append(taken)
        self._bytes += taken.length + MESSAGE_OVERHEAD
        self._news.set()
        while self._bytes > IN_FLIGHT_LIMIT:
            self._room.clear()
            await self._room.wait()

    def end(self) -> None:
        """No more will come."""
        self._ended = True
        self._news.set()

    async def settle(self) -> tuple[list[Taken], bool]:
        """Wait for the first and take out all that is stored up to the first that is not.

        Also whether that one could not be stored. Nothing at all once the end is reached.
        """
        while not self._waiting:
            if self._ended:
                return [], False
            self._news.clear()
            await self._news.wait()
        # Not awaited directly: who is cancelled must not take its messages back.
        if not self._waiting[0].stored.done():
            await asyncio.wait((self._waiting[0].stored,))
        settled: list[Taken] = []
        failed = False
        while self._waiting and self._waiting[0].stored.done() and not failed:
            taken = self._waiting.popleft()
            self._bytes -= taken.length + MESSAGE_OVERHEAD
            failed = taken.stored.cancelled() or taken.stored.exception() is not None
            if not failed:
                settled.append(taken)
        self._room.set()
        return settled, failed
