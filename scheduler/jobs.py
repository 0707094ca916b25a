"""What runs by the clock: the shop's minutes and the outbox, in the one worker.

APScheduler gives the beat; the work itself is done in turns, so that a beat that comes while the work is
still going on asks for one more turn and no more. Nothing is kept here: after a restart the jobs are made
anew, and what is due is found in the store.
"""

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime

from apscheduler.schedulers.asyncio import AsyncIOScheduler

from scheduler.clock_watch import ClockWatch
from scheduler.turns import Turn
from sensors.clock import MINUTE_MS, Clock, Millis

log = logging.getLogger(__name__)

JOB_DEFAULTS = {"misfire_grace_time": None, "coalesce": True, "max_instances": 1}
"""A beat that is late by hours, because the machine slept, still counts; many that were missed count once."""

FORECAST_APART_S = 1.0
"""The least time between the end of one forecast and the next [s of the wall]."""

POST_EVERY_S = 5.0
WATCH_EVERY_S = 5.0

Tick = Callable[[Millis, bool], Awaitable[None]]
"""Brings the shop up to the shop time given [ms]; the flag says whether a forecast is due as well."""


def beat_s(rate: float) -> float:
    """Seconds of the wall between two looks at shop time [s]: a shop minute, within 0.2 s and 10 s.

    >>> beat_s(1.0), beat_s(60.0), beat_s(300.0), beat_s(3000.0)
    (10.0, 1.0, 0.2, 0.2)
    """
    return max(0.2, min(60.0 / rate, 10.0))


class Jobs:
    """Runs `tick` for the shop minutes that are due and whenever it is woken, and `post` to empty the outbox.

    However many shop minutes have come, and however often it was woken, there is one tick, with the shop
    time as it is then. Forecasts are asked for at most once in a second of the wall, counted from the end
    of the last; one that was left out for that is made up for. `post` sends what is due in the outbox and
    returns after how many seconds it wants to be called again, or None.
    """

    def __init__(
        self,
        clock: Clock,
        tick: Tick,
        post: Callable[[], Awaitable[float | None]],
        *,
        wall: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
        watch_every_s: float = WATCH_EVERY_S,
    ) -> None:
        self._clock = clock
        self._tick = tick
        self._monotonic = monotonic
        self._beat_s = beat_s(clock.rate)
        self._minute: int | None = None
        self._forecast_ended = float("-inf")
        self._minutes = Turn("the shop's minutes", self._bring_up, min(self._beat_s, 0.2), monotonic)
        self._outbox = Turn("the outbox", post, 0.0, monotonic)
        self._watch = ClockWatch(wall, monotonic)
        self._watch_every_s = watch_every_s
        self._watcher: asyncio.Task[None] | None = None
        self._scheduler = AsyncIOScheduler(timezone="UTC", job_defaults=JOB_DEFAULTS)

    @property
    def trouble(self) -> str | None:
        """Why the shop's minutes could not be worked off the last time; None when they could."""
        return self._minutes.trouble

    def wake(self) -> None:
        """Something was said or measured: bring the shop up to now. From any thread, as often as it comes."""
        self._minutes.ask()

    def post(self) -> None:
        """There is something in the outbox: send it now rather than at the next beat. From any thread."""
        self._outbox.ask()

    def start(self) -> None:
        """Begin, with a tick and a look into the outbox at once. Needs a running event loop."""
        # Five lines a second saying that the beat has come would hide everything else.
        logging.getLogger("apscheduler.executors").setLevel(logging.WARNING)
        self._scheduler.add_job(self._beat, "interval", seconds=self._beat_s, id="minutes")
        self._scheduler.add_job(self._post_beat, "interval", seconds=POST_EVERY_S, id="outbox")
        self._minutes.start()
        self._outbox.start()
        self._scheduler.start()
        self._watcher = asyncio.get_running_loop().create_task(self._keep_watch(), name="clock watch")
        self.wake()
        self.post()

    async def stop(self, patience_s: float = 10.0) -> None:
        """End: no more beats; a tick or a sending that is under way is finished, within `patience_s` [s]."""
        if self._watcher is None:
            return
        self._watcher.cancel()
        await asyncio.wait([self._watcher])
        self._watcher = None
        self._scheduler.shutdown(wait=False)
        await asyncio.gather(self._minutes.stop(patience_s), self._outbox.stop(patience_s))

    async def _beat(self) -> None:
        # Not "greater": shop time goes back when the machine's clock is set back.
        if self._clock.now() // MINUTE_MS != self._minute:
            self._minutes.ask()

    async def _post_beat(self) -> None:
        self._outbox.ask()

    async def _bring_up(self) -> float | None:
        now = self._clock.now()
        forecast = self._forecast_wait_s() <= 0.0
        self._minute = now // MINUTE_MS
        try:
            await self._tick(now, forecast)
        except Exception:
            self._minute = None  # so that the next beat tries again
            raise
        if forecast:
            self._forecast_ended = self._monotonic()
            return None
        return self._forecast_wait_s()

    def _forecast_wait_s(self) -> float:
        return self._forecast_ended + FORECAST_APART_S - self._monotonic()

    async def _keep_watch(self) -> None:
        while True:
            await asyncio.sleep(self._watch_every_s)
            leap_s = self._watch.leap_s()
            if leap_s:
                log.info("the machine's clock leapt by %+.0f s: it slept, or was set", leap_s)
                self._after_leap()

    def _after_leap(self) -> None:
        # The timer of the next beat still counts the old way; after a leap back it would count for as
        # long as the leap was. So the beats are set to now, which also wakes the scheduler.
        now = datetime.now(UTC)
        for job in self._scheduler.get_jobs():
            job.modify(next_run_time=now)
        self._scheduler.wakeup()
        self.wake()
        self.post()
