"""Group commit: whatever has come while the last commit ran goes into the next one."""

import asyncio
import logging
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Generic, TypeVar

from sensors.intake.message import Message

Outcome = TypeVar("Outcome")

BATCH_LIMIT = 1000
"""Messages in one commit at most: longer ones gain nothing and make the first wait."""

log = logging.getLogger("slowcorner.intake")


class Batcher(Generic[Outcome]):
    """Commits messages in batches, in one thread of its own, in the order they came.

    `commit` is called in that thread with at most `limit` messages; once it returns they are on the disk.
    `on_commit`, if any, is then called in the event loop with what it returned. There is no timer: a commit
    starts as soon as the last one is done, so that one message alone waits for nothing and many share one.
    To be used from one event loop.
    """

    def __init__(
        self,
        commit: Callable[[Sequence[Message]], Outcome],
        on_commit: Callable[[Outcome], None] | None = None,
        limit: int = BATCH_LIMIT,
    ) -> None:
        self._commit = commit
        self._on_commit = on_commit
        self._limit = limit
        self._waiting: deque[tuple[Message, asyncio.Future[None]]] = deque()
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="slowcorner-writer")
        self._writer: asyncio.Task[None] | None = None
        self._closed = False
        self.trouble: Exception | None = None
        """Why the last commit failed; None where it did not."""

    def put(self, message: Message) -> asyncio.Future[None]:
        """Take a message; what is returned is done when it is committed, or fails as its commit failed.

        A future that is cancelled by who waits for it does not take its message back.
        Raises RuntimeError once closed.
        """
        if self._closed:
            raise RuntimeError("no message is taken any more: the batcher is closed")
        loop = asyncio.get_running_loop()
        stored: asyncio.Future[None] = loop.create_future()
        self._waiting.append((message, stored))
        if self._writer is None:
            self._writer = loop.create_task(self._write(), name="slowcorner-writer")
        return stored

    async def close(self) -> None:
        """Commit what is waiting, then end the thread."""
        self._closed = True
        while self._writer is not None:
            await asyncio.wait((self._writer,))
        self._thread.shutdown()

    async def _write(self) -> None:
        try:
            while self._waiting:
                count = min(self._limit, len(self._waiting))
                await self._write_batch([self._waiting.popleft() for _ in range(count)])
        finally:
            self._writer = None

    async def _write_batch(self, batch: Sequence[tuple[Message, asyncio.Future[None]]]) -> None:
        messages = [message for message, _ in batch]
        loop = asyncio.get_running_loop()
        try:
            outcome = await loop.run_in_executor(self._thread, self._commit, messages)
        except Exception as error:
            self.trouble = error
            for _, stored in batch:
                if not stored.done():
                    stored.set_exception(error)
            return
        except BaseException:
            for _, stored in batch:
                stored.cancel()
            raise
        self.trouble = None
        if self._on_commit is not None:
            try:
                self._on_commit(outcome)
            except Exception:  # the messages are on the disk all the same, and are acknowledged
                log.exception("What follows a commit failed; the commit itself stands")
        for _, stored in batch:
            if not stored.done():
                stored.set_result(None)
