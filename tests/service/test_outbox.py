"""From a notice that is due to the phone: once each, whatever fails, whatever restarts."""

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from scheduler.ledger import Settlement
from scheduler.summary import words
from server.phone.ledger import NoticeLedger
from server.phone.outbox import AT_ONCE, Outbox
from server.phone.sending import Outcome, Payload, Urgency
from server.store.engine import Engine, open_store
from server.store.values import Delivery, Subscription
from tests.service.postman import FIT, GAP, Postman, WallClock, add_phone, run, tell, told


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'shop.db'}"


@pytest.fixture
def engine(url: str) -> Iterator[Engine]:
    engine = open_store(url)
    yield engine
    engine.dispose()


@pytest.fixture
def wall() -> WallClock:
    return WallClock()


def test_the_back_off_is_climbed_and_then_it_is_given_up(
    engine: Engine, wall: WallClock, caplog: pytest.LogCaptureFixture
) -> None:
    """30 s, 2 min, 10 min, 1 h, 6 h: this project's own choice."""
    postman = Postman([Outcome("later", "no answer")] * 10)
    outbox = Outbox(engine, {"push": postman}, wall)
    add_phone(engine)
    tell(engine, [FIT], wall())
    run(outbox)
    for wait_s in (30, 120, 600, 3600, 21600):
        wall.advance_s(wait_s - 1)
        run(outbox)
        tried = len(postman.sent)
        wall.advance_s(1)
        run(outbox)
        assert len(postman.sent) == tried + 1
    assert len(postman.sent) == 6
    assert (told(engine).failed, told(engine).waiting, told(engine).last_error) == (1, 0, "no answer")
    assert "was given up after 6 attempts: no answer" in caplog.text
    wall.advance_s(30 * 24 * 3600)
    run(outbox)
    assert len(postman.sent) == 6


def test_a_retry_after_that_is_longer_than_the_back_off_is_kept_to(engine: Engine, wall: WallClock) -> None:
    postman = Postman([Outcome("later", "too many", 900.0), Outcome("later", "too many", 1.0)])
    outbox = Outbox(engine, {"push": postman}, wall)
    add_phone(engine)
    tell(engine, [FIT], wall())
    run(outbox)
    wall.advance_s(899)
    run(outbox)
    assert len(postman.sent) == 1
    wall.advance_s(1)
    run(outbox)
    wall.advance_s(119)  # a shorter one does not hurry the second back-off of 2 min
    run(outbox)
    assert len(postman.sent) == 2
    wall.advance_s(1)
    run(outbox)
    assert len(postman.sent) == 3
    assert told(engine).sent == 1


class Killed(BaseException):
    """Stands for the kill: nothing that the process would have done afterwards is done."""


@pytest.mark.parametrize("fault", [Killed(), RuntimeError("a fault of the sender's")])
def test_what_may_have_been_sent_is_not_sent_again_after_a_crash(
    url: str, wall: WallClock, fault: BaseException
) -> None:
    """Killed between the request and the note of its answer."""
    engine = open_store(url)
    add_phone(engine)
    tell(engine, [FIT], wall())
    postman = Postman([fault])
    with pytest.raises(type(fault)):
        run(Outbox(engine, {"push": postman}, wall))
    engine.dispose()
    assert len(postman.sent) == 1

    engine = open_store(url)
    again = Postman()
    for _ in range(5):
        assert tell(engine, [FIT], wall()) == 0
        run(Outbox(engine, {"push": again}, wall))
        wall.advance_s(24 * 3600)
    kept = told(engine)
    engine.dispose()
    assert again.sent == []
    assert (kept.maybe_sent, kept.sent, kept.waiting, kept.failed) == (1, 0, 0, 0)


def test_what_was_never_begun_is_sent_after_a_crash(url: str, wall: WallClock) -> None:
    """Killed after the notice was kept and before any request."""
    engine = open_store(url)
    add_phone(engine)
    tell(engine, [FIT, GAP], wall())
    engine.dispose()
    engine = open_store(url)
    postman = Postman()
    run(Outbox(engine, {"push": postman}, wall))
    engine.dispose()
    assert postman.titles == ["Heron: fit to dip", "Teal: unsure"]


def test_two_workers_send_a_notice_once(engine: Engine, wall: WallClock) -> None:
    postman = Postman()
    for name in ("one", "two", "three"):
        add_phone(engine, name)
    tell(engine, [FIT, GAP], wall())

    async def both() -> None:
        await asyncio.gather(*(Outbox(engine, {"push": postman}, wall).run_once() for _ in range(3)))

    asyncio.run(asyncio.wait_for(both(), 20.0))
    assert len(postman.sent) == 6
    assert len({(phone, topic) for phone, _, _, _, topic in postman.sent}) == 6


def test_a_silent_phone_does_not_hold_up_the_others(engine: Engine, wall: WallClock) -> None:
    for name in ("silent", "two", "three"):
        add_phone(engine, name)
    tell(engine, [FIT, GAP], wall())

    async def scene() -> None:
        others_have_theirs = asyncio.Event()
        settled: list[tuple[int, str]] = []

        class Silent(Postman):
            async def send(
                self, subscription: Subscription, payload: Payload, ttl_s: int, urgency: Urgency, topic: str
            ) -> Outcome:
                await super().send(subscription, payload, ttl_s, urgency, topic)
                if subscription.id == 1:
                    await others_have_theirs.wait()
                    return Outcome("later", "no answer")
                return Outcome("sent")

        def note(delivery: Delivery, outcome: Outcome) -> None:
            settled.append((delivery.subscription.id, outcome.kind))
            if len(settled) == 4:
                others_have_theirs.set()

        postman = Silent()
        await Outbox(engine, {"push": postman}, wall, note).run_once()
        assert sorted(settled[:4]) == [(2, "sent"), (2, "sent"), (3, "sent"), (3, "sent")]
        # and it is not asked for the second notice in the same look
        assert settled[4:] == [(1, "later")]

    asyncio.run(asyncio.wait_for(scene(), 20.0))


def test_one_fault_of_the_sender_leaves_the_other_phones_served(engine: Engine, wall: WallClock) -> None:
    for name in ("one", "two"):
        add_phone(engine, name)
    tell(engine, [FIT], wall())
    with pytest.raises(RuntimeError, match="out of order"):
        run(Outbox(engine, {"push": Postman([RuntimeError("out of order")])}, wall))
    assert (told(engine).sent, told(engine).maybe_sent) == (1, 1)


def test_a_full_outbox_is_emptied_in_several_looks_in_order(engine: Engine, wall: WallClock) -> None:
    add_phone(engine)
    many = [replace(FIT, key=f"fit:{n}", title=f"tree {n}") for n in range(AT_ONCE + 3)]
    tell(engine, many, wall())
    postman = Postman()
    outbox = Outbox(engine, {"push": postman}, wall)
    assert run(outbox) == 0.0
    assert run(outbox) is None
    assert postman.titles == [notice.title for notice in many]


def test_with_no_phone_a_notice_is_kept_and_heard_of_but_not_sent(engine: Engine, wall: WallClock) -> None:
    heard: list[str] = []
    ledger = NoticeLedger(engine, wall, lambda notice: heard.append(f"{notice.title}. {notice.body}"))
    again = replace(FIT, key="fit:1:5:0", title="Heron again")
    assert ledger.settle(Settlement((FIT,), tell=(FIT,)), words, wall()) == 1
    assert ledger.settle(Settlement((FIT, GAP), tell=(FIT, GAP)), words, wall()) == 1
    assert ledger.settle(Settlement((GAP, again), tell=(again,)), words, wall()) == 1
    assert heard == [f"{FIT.title}. {FIT.body}", f"{GAP.title}. {GAP.body}", f"Heron again. {FIT.body}"]
    postman = Postman()
    run(Outbox(engine, {"push": postman}, wall))
    assert postman.sent == []
    add_phone(engine)  # a phone that comes later is not told of the past
    run(Outbox(engine, {"push": postman}, wall))
    assert postman.sent == []
