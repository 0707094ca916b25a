"""Work done in turns: coalesced, one at a time, and never ended by a fault."""

import asyncio
import logging
import threading
from collections.abc import Awaitable
from itertools import pairwise

import pytest

from scheduler.turns import SAME_FAULT_EVERY_S, Turn

PATIENCE_S = 5.0


async def within(awaitable: Awaitable[object]) -> None:
    await asyncio.wait_for(awaitable, PATIENCE_S)


class Work:
    """Counts turns; each waits until it is let go."""

    def __init__(self) -> None:
        self.begun = 0
        self.ended = 0
        self.at_once = 0
        self.most_at_once = 0
        self.has_begun = asyncio.Event()
        self.may_end = asyncio.Event()

    async def __call__(self) -> float | None:
        self.begun += 1
        self.at_once += 1
        self.most_at_once = max(self.most_at_once, self.at_once)
        self.has_begun.set()
        await self.may_end.wait()
        self.may_end.clear()
        self.at_once -= 1
        self.ended += 1
        return None

    async def next_begin(self) -> None:
        await within(self.has_begun.wait())
        self.has_begun.clear()


def test_many_askings_meanwhile_make_one_more_turn() -> None:
    async def scene() -> None:
        work = Work()
        turn = Turn("work", work)
        turn.start()
        turn.ask()
        await work.next_begin()
        for _ in range(1000):
            turn.ask()
        work.may_end.set()
        await work.next_begin()
        assert (work.begun, work.ended, work.most_at_once) == (2, 1, 1)
        work.may_end.set()
        await turn.stop()
        assert (work.begun, work.ended) == (2, 2)

    asyncio.run(scene())


def test_asking_from_other_threads_and_before_the_start_counts() -> None:
    async def scene() -> None:
        work = Work()
        turn = Turn("work", work)
        turn.ask()
        turn.start()
        await work.next_begin()
        work.may_end.set()
        thread = threading.Thread(target=turn.ask)
        thread.start()
        await asyncio.to_thread(thread.join)
        await work.next_begin()
        work.may_end.set()
        await turn.stop()
        assert work.ended == 2
        turn.ask()

    asyncio.run(scene())


def test_the_end_waits_for_the_turn_under_way() -> None:
    async def scene() -> None:
        work = Work()
        turn = Turn("work", work)
        turn.start()
        turn.ask()
        await work.next_begin()
        stopping = asyncio.create_task(turn.stop())
        turn.ask()
        await asyncio.sleep(0)
        assert not stopping.done()
        work.may_end.set()
        await within(stopping)
        assert (work.begun, work.ended) == (1, 1)

    asyncio.run(scene())


def test_a_turn_that_never_ends_is_given_up(caplog: pytest.LogCaptureFixture) -> None:
    async def scene() -> None:
        work = Work()
        turn = Turn("stubborn work", work)
        turn.start()
        turn.ask()
        await work.next_begin()
        await within(turn.stop(patience_s=0.01))
        assert work.ended == 0

    asyncio.run(scene())
    assert "stubborn work was still at work after 0.01 s" in caplog.text


class Failing:
    """Fails so many times, then works; notes what trouble stood when each turn began."""

    def __init__(self, times: int, seconds_a_turn: float = 0.0) -> None:
        self.times = times
        self.now = 0.0
        self.troubles: list[str | None] = []
        self.has_worked = asyncio.Event()
        self.turn = Turn("minutes", self, monotonic=lambda: self.now)
        self._seconds_a_turn = seconds_a_turn

    async def __call__(self) -> float | None:
        self.troubles.append(self.turn.trouble)
        self.now += self._seconds_a_turn
        self.turn.ask()
        if len(self.troubles) <= self.times:
            raise RuntimeError("the disk is full")
        if len(self.troubles) == self.times + 2:
            self.has_worked.set()
        return None

    async def play(self) -> None:
        self.turn.start()
        self.turn.ask()
        await within(self.has_worked.wait())
        await self.turn.stop()


def test_a_fault_is_logged_with_its_reason_and_the_next_turn_tries_again(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.INFO)

    async def scene() -> None:
        failing = Failing(times=1)
        await failing.play()
        assert failing.troubles[:3] == [None, "RuntimeError: the disk is full", None]

    asyncio.run(scene())
    assert "minutes failed and will be tried again: RuntimeError: the disk is full" in caplog.text
    assert "minutes works again" in caplog.text


def test_a_fault_that_stays_the_same_does_not_flood_the_log(caplog: pytest.LogCaptureFixture) -> None:
    """A beat of 0.2 s would write five traces a second to the card of a small machine."""

    async def scene() -> None:
        await Failing(times=40, seconds_a_turn=SAME_FAULT_EVERY_S / 10).play()

    asyncio.run(scene())
    # 40 faults 6 s apart, over 234 s: told at the first, then 60, 120 and 180 s after it (computed)
    assert caplog.text.count("failed and will be tried again") == 4


def test_turns_keep_their_distance() -> None:
    async def scene() -> list[float]:
        starts: list[float] = []
        enough = asyncio.Event()
        loop = asyncio.get_running_loop()

        async def work() -> float | None:
            starts.append(loop.time())
            if len(starts) == 4:
                enough.set()
            return 0.0  # wants to go on at once

        turn = Turn("eager", work, apart_s=0.03, monotonic=loop.time)
        turn.start()
        turn.ask()
        await within(enough.wait())
        await turn.stop()
        return starts

    starts = asyncio.run(scene())
    gaps = [later - earlier for earlier, later in pairwise(starts)]
    assert min(gaps) >= 0.03 - 1e-3, gaps


def test_work_may_ask_for_itself() -> None:
    async def scene() -> None:
        count = 0
        enough = asyncio.Event()

        async def work() -> float | None:
            nonlocal count
            count += 1
            if count < 3:
                return 0.001
            enough.set()
            return None

        turn = Turn("work", work)
        turn.start()
        turn.ask()
        await within(enough.wait())
        await turn.stop()
        assert count == 3

    asyncio.run(scene())
