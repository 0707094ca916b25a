"""Beat and reminders together while the machine's own clock is moved: sleep, daylight saving, set back.

The clock is moved under the whole process, the scheduler's own included; what counts seconds awake is not.
"""

import asyncio
from collections.abc import Coroutine
from datetime import UTC, datetime

import pytest
import time_machine

from scheduler.jobs import Jobs
from sensors.clock import HOUR_MS, Millis, parse_time, real_clock
from tests.planning.told_shop import Shop, tree

PATIENCE_S = 10.0


def play(scene: Coroutine[object, object, None]) -> None:
    asyncio.run(asyncio.wait_for(scene, 4 * PATIENCE_S))


class Running:
    """Jobs whose tick lets the reminders look; they look at the clock for leaps every few milliseconds."""

    def __init__(self, shop: Shop) -> None:
        self.shop, self.ticks = shop, 0
        self._ticked = asyncio.Event()
        self.jobs = Jobs(real_clock(), self._tick, self._post, watch_every_s=0.01)

    async def _tick(self, now: Millis, forecast: bool) -> None:
        self.shop.look(now)
        self.ticks += 1
        self._ticked.set()

    async def _post(self) -> float | None:
        return None

    async def next_tick(self) -> None:
        """Wait for a tick that begins from now on."""

        async def more(than: int) -> None:
            while self.ticks <= than:
                self._ticked.clear()
                await self._ticked.wait()

        await asyncio.wait_for(more(self.ticks), PATIENCE_S)


@pytest.mark.parametrize(
    ("evening", "seven"),
    [
        ("2026-03-02T19:30:00Z", "2026-03-03T05:00:00Z"),
        ("2026-03-28T19:30:00Z", "2026-03-29T04:00:00Z"),
        ("2026-10-24T18:30:00Z", "2026-10-25T05:00:00Z"),
    ],
)
def test_a_night_asleep_is_one_summary_and_a_clock_set_back_repeats_nothing(evening: str, seven: str) -> None:
    """Helsinki: an ordinary night, the one clocks go forward in, the one they go back in."""

    async def scene() -> None:
        begins, ends = parse_time(evening), parse_time(seven)
        shop = Shop(grace_ms=0)
        with time_machine.travel(datetime.fromtimestamp(begins / 1000, UTC), tick=True) as clock:
            shop.rack.say(*(tree(n, at=begins, dipped=begins - HOUR_MS) for n in (1, 2, 3)))
            running = Running(shop)
            running.jobs.start()
            await running.next_tick()
            assert shop.ledger.messages == []
            before = running.ticks
            clock.shift((ends - begins) / 1000 - 1800)  # asleep until half past six
            await running.next_tick()
            assert shop.ledger.messages == []
            clock.shift(3600)
            await running.next_tick()
            assert shop.ledger.titles == ["This morning: 3 fit to dip"]
            clock.shift(-3600)  # the clock was wrong, and is set back into the quiet hours
            await running.next_tick()
            clock.shift(2 * 3600)
            await running.next_tick()
            await running.jobs.stop()
            # Hundreds of beats were missed: they are made up for by a tick or two each time.
            assert running.ticks - before <= 16
        assert shop.ledger.titles == ["This morning: 3 fit to dip"]

    play(scene())


def test_six_hours_of_sleep_by_day_are_one_message() -> None:
    async def scene() -> None:
        noon = parse_time("2026-03-02T09:00:00Z")
        shop = Shop()
        with time_machine.travel(datetime.fromtimestamp(noon / 1000, UTC), tick=True) as clock:
            running = Running(shop)
            running.jobs.start()
            await running.next_tick()
            shop.rack.say(*(tree(n, at=noon + n * HOUR_MS) for n in range(1, 7)))
            clock.shift(6 * 3600)
            await running.next_tick()
            await running.jobs.stop()
        assert shop.ledger.titles == ["6 trees fit to dip: Heron, Teal, Snipe, Dunlin and 2 more"]

    play(scene())
