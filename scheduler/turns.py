"""Work that is asked for from many sides and done one turn at a time."""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable

log = logging.getLogger(__name__)

SAME_FAULT_EVERY_S = 60.0
"""How often a fault that stays the same is written to the log [s of the wall]."""


class Turn:
    """Does its work when asked: one turn at a time, and one more if it was asked meanwhile, however often.

    A turn that raises is logged with its reason and does not end the work: the next turn tries again.
    `work` may return a number of seconds after which it wants another turn, or None. Turns start at least
    `apart_s` after the one before has started. Everything but `ask` is called from the event loop's own
    thread.
    """

    def __init__(
        self,
        name: str,
        work: Callable[[], Awaitable[float | None]],
        apart_s: float = 0.0,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = name
        self.trouble: str | None = None
        """Why the latest turn failed; None when it did not."""
        self._work = work
        self._apart_s = apart_s
        self._monotonic = monotonic
        self._stirred = asyncio.Event()
        self._closing = False
        self._loop: asyncio.AbstractEventLoop | None = None
        self._task: asyncio.Task[None] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._complained_at = float("-inf")

    def start(self) -> None:
        """Begin to take turns. What was asked before is done now."""
        self._loop = asyncio.get_running_loop()
        self._task = self._loop.create_task(self._run(), name=f"turns of {self.name}")

    def ask(self) -> None:
        """Ask for a turn. May be called from any thread, and at any time; after the end it does nothing."""
        if self._loop is None:
            self._stirred.set()
        elif not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._stirred.set)

    async def stop(self, patience_s: float = 10.0) -> None:
        """End: a turn that is under way is finished, or given up after `patience_s` [s]."""
        self._closing = True
        self._stirred.set()
        if self._timer is not None:
            self._timer.cancel()
        if self._task is not None:
            done, _ = await asyncio.wait([self._task], timeout=patience_s)
            if not done:
                log.warning("%s was still at work after %g s and was given up", self.name, patience_s)
                self._task.cancel()
                await asyncio.wait([self._task])

    async def _run(self) -> None:
        started = float("-inf")
        while True:
            await self._stirred.wait()
            self._stirred.clear()
            if self._closing:
                return
            early_s = started + self._apart_s - self._monotonic()
            if early_s > 0.0:
                self._ask_in(early_s)
                continue
            started = self._monotonic()
            again_s = await self._one_turn()
            if again_s is not None:
                self._ask_in(again_s)

    async def _one_turn(self) -> float | None:
        try:
            again_s = await self._work()
        except Exception as fault:
            self._complain(fault)
            return None
        if self.trouble is not None:
            log.info("%s works again", self.name)
            self.trouble = None
        return again_s

    def _complain(self, fault: Exception) -> None:
        trouble = f"{type(fault).__name__}: {fault}"
        now = self._monotonic()
        if trouble != self.trouble or now - self._complained_at >= SAME_FAULT_EVERY_S:
            log.error("%s failed and will be tried again: %s", self.name, trouble, exc_info=fault)
            self._complained_at = now
        self.trouble = trouble

    def _ask_in(self, seconds: float) -> None:
        """See that a turn is asked for no later than in `seconds` [s]."""
        loop = asyncio.get_running_loop()
        due = loop.time() + max(0.0, seconds)
        if (
            self._timer is not None
            and loop.time() < self._timer.when() <= due
            and not self._timer.cancelled()
        ):
            return
        if self._timer is not None:
            self._timer.cancel()
        self._timer = loop.call_at(due, self._stirred.set)
