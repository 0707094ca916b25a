"""The beat: shop minutes that are due, wakings, forecasts held apart, leaps of the machine's clock."""

import asyncio
import logging
from collections.abc import Coroutine
from datetime import UTC, datetime, timedelta

import pytest

from scheduler.clock_watch import ClockWatch
from scheduler.jobs import Jobs
from sensors.clock import HOUR_MS, MINUTE_MS, Millis, SetClock

PATIENCE_S = 5.0
DAWN: Millis = 1_772_431_200_000


class Shop:
    """A tick and an outbox that note what they were called for, and let the test wait for the next call."""

    def __init__(self) -> None:
        self.ticks: list[tuple[Millis, bool]] = []
        self.posts = 0
        self.fail = False
        self._changed = asyncio.Event()

    async def tick(self, now: Millis, forecast: bool) -> None:
        self.ticks.append((now, forecast))
        self._changed.set()
        if self.fail:
            raise RuntimeError("no room")

    async def post(self) -> float | None:
        self.posts += 1
        self._changed.set()
        return None

    async def until(self, ticks: int = 0, posts: int = 0) -> None:
        async def enough() -> None:
            while len(self.ticks) < ticks or self.posts < posts:
                self._changed.clear()
                await self._changed.wait()

        await asyncio.wait_for(enough(), PATIENCE_S)


def play(scene: Coroutine[object, object, None]) -> None:
    asyncio.run(asyncio.wait_for(scene, 4 * PATIENCE_S))


def test_a_late_beat_counts_and_counts_once() -> None:
    """Six hours of sleep: by the library's own defaults a beat so late would be lost."""

    async def scene() -> None:
        shop = Shop()
        clock = SetClock(DAWN)
        jobs = Jobs(clock, shop.tick, shop.post)
        jobs.start()
        await shop.until(ticks=1, posts=1)
        clock.advance(6 * HOUR_MS)
        for job in jobs._scheduler.get_jobs():
            assert (job.misfire_grace_time, job.coalesce, job.max_instances) == (None, True, 1)
            job.modify(next_run_time=datetime.now(UTC) - timedelta(hours=6, seconds=3))
        jobs._scheduler.wakeup()
        await shop.until(ticks=2, posts=2)
        await jobs.stop()
        assert [now for now, _ in shop.ticks] == [DAWN, DAWN + 6 * HOUR_MS]
        assert shop.posts == 2

    play(scene())


def test_every_shop_minute_that_comes_is_ticked_at_an_accelerated_clock() -> None:
    """At 300x a shop minute is 0.2 s of the wall; a clock that stands asks for nothing."""

    async def scene() -> None:
        shop = Shop()
        clock = SetClock(DAWN, rate=300.0)
        jobs = Jobs(clock, shop.tick, shop.post)
        jobs.start()
        await shop.until(ticks=1)
        clock.advance(5 * MINUTE_MS)
        await shop.until(ticks=2)
        clock.advance(-HOUR_MS)  # the machine's clock was set back
        await shop.until(ticks=3)
        await jobs.stop()
        at = [now for now, _ in shop.ticks]
        assert at[:1] == [DAWN]
        assert at[-1] == DAWN + 5 * MINUTE_MS - HOUR_MS
        assert set(at) == {DAWN, DAWN + 5 * MINUTE_MS, DAWN + 5 * MINUTE_MS - HOUR_MS}

    play(scene())


def test_wakings_are_gathered_and_forecasts_held_a_second_apart() -> None:
    async def scene() -> None:
        shop = Shop()
        awake = 0.0
        jobs = Jobs(SetClock(DAWN), shop.tick, shop.post, wall=lambda: 0.0, monotonic=lambda: awake)
        jobs.start()
        await shop.until(ticks=1)
        assert shop.ticks == [(DAWN, True)]
        awake = 0.5
        for _ in range(500):
            jobs.wake()
        await shop.until(ticks=2)
        assert shop.ticks[1:] == [(DAWN, False)]
        awake = 1.5
        await shop.until(ticks=3)  # nobody asked: the forecast that was left out is made up for
        assert shop.ticks[2:] == [(DAWN, True)]
        await jobs.stop()
        assert len(shop.ticks) == 3

    play(scene())


def test_a_tick_that_fails_is_told_and_tried_again_at_the_next_beat(caplog: pytest.LogCaptureFixture) -> None:
    async def scene() -> None:
        shop = Shop()
        shop.fail = True
        jobs = Jobs(SetClock(DAWN, rate=300.0), shop.tick, shop.post)
        jobs.start()
        await shop.until(ticks=2)
        assert jobs.trouble == "RuntimeError: no room"
        shop.fail = False
        tried = len(shop.ticks)
        await shop.until(ticks=tried + 1)
        await jobs.stop()
        assert jobs.trouble is None

    play(scene())
    assert "the shop's minutes failed and will be tried again: RuntimeError: no room" in caplog.text


def test_the_beats_come_at_once_after_the_machines_clock_leapt(caplog: pytest.LogCaptureFixture) -> None:
    """Forward over a suspend; back when a machine without a clock of its own learns the time."""
    caplog.set_level(logging.INFO)

    async def scene() -> None:
        shop = Shop()
        wall = 1000.0
        jobs = Jobs(
            SetClock(DAWN),
            shop.tick,
            shop.post,
            wall=lambda: wall,
            monotonic=lambda: 0.0,
            watch_every_s=0.01,
        )
        jobs.start()
        await shop.until(ticks=1, posts=1)
        for leap_s in (3600.0, -7200.0):
            for job in jobs._scheduler.get_jobs():
                job.modify(next_run_time=datetime.now(UTC) + timedelta(hours=2))
            wall += leap_s
            # A post that the leap before has asked for may come first and tells nothing of this one.
            while any(
                job.next_run_time - datetime.now(UTC) > timedelta(seconds=11)
                for job in jobs._scheduler.get_jobs()
            ):
                await shop.until(posts=shop.posts + 1)
        await jobs.stop()

    play(scene())
    assert "leapt by +3600 s" in caplog.text
    assert "leapt by -7200 s" in caplog.text


def test_a_start_and_a_stop_leave_nothing_running() -> None:
    async def scene() -> None:
        shop = Shop()
        jobs = Jobs(SetClock(DAWN), shop.tick, shop.post)
        await jobs.stop()  # never started
        jobs.start()
        await shop.until(ticks=1, posts=1)
        await jobs.stop()
        await jobs.stop()
        jobs.wake()
        jobs.post()
        await asyncio.sleep(0)
        assert asyncio.all_tasks() == {asyncio.current_task()}
        assert (len(shop.ticks), shop.posts) == (1, 1)

    asyncio.run(scene())


def test_small_steps_of_the_clock_are_no_leaps() -> None:
    wall = iter([0.0, 5.0, 10.5, 12.5, 3000.0])
    awake = iter([0.0, 5.0, 10.0, 15.0, 20.0])
    watch = ClockWatch(wall=lambda: next(wall), awake=lambda: next(awake))
    assert [watch.leap_s() for _ in range(4)] == [0.0, 0.0, -3.0, 2982.5]
