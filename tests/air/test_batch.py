"""Group commit: nothing is done before its commit, nothing is committed twice, and idle means at once."""

import asyncio
import logging
import threading
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.intake.batch import Batcher
from sensors.intake.message import Message
from sensors.intake.packets import Pingreq, Pingresp, Puback
from tests.air.wire import PATIENCE_S, client, listening, publish, run


class Book:
    """A commit to look into. It waits for `open`, and fails while `error` is set."""

    def __init__(self) -> None:
        self.batches: list[list[int]] = []
        self.threads: set[str] = set()
        self.entered = threading.Event()
        self.open = threading.Event()
        self.open.set()
        self.error: Exception | None = None

    def commit(self, messages: Sequence[Message]) -> int:
        self.entered.set()
        assert self.open.wait(PATIENCE_S)
        if self.error is not None:
            raise self.error
        self.threads.add(threading.current_thread().name)
        self.batches.append([message.arrived for message in messages])
        return len(messages)

    async def is_entered(self) -> None:
        assert await asyncio.to_thread(self.entered.wait, PATIENCE_S)


def test_one_message_is_committed_at_once_in_the_writers_thread() -> None:
    async def main() -> None:
        book = Book()
        batcher = Batcher(book.commit)
        await batcher.put(Message(1))
        assert book.batches == [[1]]
        await batcher.put(Message(2))  # and again after a rest
        assert book.batches == [[1], [2]]
        await batcher.close()
        assert book.threads == {"slowcorner-writer_0"}
        assert not [thread for thread in threading.enumerate() if thread.name.startswith("slowcorner-writer")]

    run(main())


def test_nothing_is_done_before_its_commit_and_what_came_meanwhile_shares_the_next() -> None:
    async def main() -> None:
        book = Book()
        book.open.clear()
        batcher = Batcher(book.commit)
        first = batcher.put(Message(0))
        await book.is_entered()
        later = [batcher.put(Message(n)) for n in range(1, 2201)]
        assert not first.done()
        book.open.set()
        await first
        assert not later[-1].done()
        await asyncio.gather(*later)
        assert [len(batch) for batch in book.batches] == [1, 1000, 1000, 200]
        assert [n for batch in book.batches for n in batch] == list(range(2201))
        await batcher.close()

    run(main())


@given(st.integers(1, 7), st.lists(st.integers(0, 20), max_size=6))
def test_every_message_is_committed_once_and_in_order(limit: int, bursts: list[int]) -> None:
    async def main() -> None:
        book = Book()
        batcher = Batcher(book.commit, limit=limit)
        stored: list[asyncio.Future[None]] = []
        for burst in bursts:
            stored += [batcher.put(Message(len(stored) + n)) for n in range(burst)]
            await asyncio.sleep(0)
        await batcher.close()
        assert all(future.done() and future.exception() is None for future in stored)
        assert [n for batch in book.batches for n in batch] == list(range(sum(bursts)))
        assert all(1 <= len(batch) <= limit for batch in book.batches)

    run(main())


def test_a_failed_commit_fails_all_in_its_batch_and_no_other() -> None:
    async def main() -> None:
        book = Book()
        book.open.clear()
        batcher = Batcher(book.commit, limit=3)
        first = batcher.put(Message(0))
        await book.is_entered()
        book.error = OSError(28, "No space left on device")
        book.open.set()
        with pytest.raises(OSError, match="No space left"):
            await first
        failing = [batcher.put(Message(n)) for n in (1, 2, 3)]
        outcomes = await asyncio.gather(*failing, return_exceptions=True)
        assert outcomes == [book.error] * 3
        book.error = None
        await batcher.put(Message(4))
        assert book.batches == [[4]]
        await batcher.close()

    run(main())


def test_what_follows_a_commit_comes_before_it_is_told_and_in_the_event_loop() -> None:
    async def main() -> None:
        seen: list[tuple[int, bool, bool]] = []
        stored: list[asyncio.Future[None]] = []

        def followed(count: int) -> None:
            seen.append((count, threading.current_thread() is threading.main_thread(), stored[0].done()))

        batcher = Batcher(Book().commit, followed)
        stored += [batcher.put(Message(n)) for n in range(3)]
        await asyncio.gather(*stored)
        assert seen == [(3, True, False)]
        await batcher.close()

    run(main())


def test_what_follows_a_commit_may_fail_and_the_commit_stands(caplog: pytest.LogCaptureFixture) -> None:
    async def main() -> None:
        def followed(_count: int) -> None:
            raise ValueError("judge")

        book = Book()
        batcher = Batcher(book.commit, followed)
        await batcher.put(Message(1))
        assert book.batches == [[1]]
        await batcher.close()

    with caplog.at_level(logging.ERROR, "slowcorner.intake"):
        run(main())
    assert [record.getMessage() for record in caplog.records] == [
        "What follows a commit failed; the commit itself stands"
    ]


def test_a_message_is_not_taken_back_by_who_waits_no_longer() -> None:
    async def main() -> None:
        book = Book()
        book.open.clear()
        batcher = Batcher(book.commit)
        first, second = batcher.put(Message(1)), batcher.put(Message(2))
        first.cancel()
        book.open.set()
        await second
        assert book.batches == [[1, 2]]
        await batcher.close()

    run(main())


def test_closing_commits_what_waits_and_takes_no_more() -> None:
    async def main() -> None:
        book = Book()
        batcher = Batcher(book.commit, limit=2)
        stored = [batcher.put(Message(n)) for n in range(5)]
        await batcher.close()
        assert [future.done() for future in stored] == [True] * 5
        assert book.batches == [[0, 1], [2, 3], [4]]
        with pytest.raises(RuntimeError, match="closed"):
            batcher.put(Message(9))
        await batcher.close()

    run(main())


def test_a_puback_comes_after_the_commit_and_not_before() -> None:
    async def main() -> None:
        book = Book()
        book.open.clear()
        batcher = Batcher(book.commit)
        async with listening(batcher.put) as listener, client(listener) as node:
            await node.say(publish(7))
            await book.is_entered()
            for _ in range(50):  # a PUBACK sent too early would come before one of these
                assert await node.ask(Pingreq()) == Pingresp()
            book.open.set()
            assert await node.hear() == Puback(7)
            assert len(book.batches) == 1
        await batcher.close()

    run(main())


def test_after_a_failed_commit_the_connection_closes_with_no_puback() -> None:
    async def main() -> None:
        book = Book()
        book.error = OSError("disk")
        batcher = Batcher(book.commit)
        async with listening(batcher.put) as listener:
            async with client(listener) as node:
                assert await node.ask(publish(7)) is None
            book.error = None
            async with client(listener) as node:
                assert await node.ask(publish(7)) == Puback(7)
        await batcher.close()

    run(main())
