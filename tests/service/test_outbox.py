"""From a notice that is due to the phone: once each, whatever fails, whatever restarts."""

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from scheduler.forecast import Notice, Outlook
from scheduler.reminders import Reminders, due
from sensors.clock import HOUR_MS, SECOND_MS, Millis
from server.phone.ledger import NoticeLedger
from server.phone.outbox import AT_ONCE, BACK_OFF_S, Outbox
from server.phone.sending import Outcome, Payload, Urgency
from server.phone.vapid import vapid_keys
from server.phone.web_push import WebPush, topic_of
from server.store import notices, subscriptions
from server.store.engine import Engine, open_store
from server.store.values import Delivery, KeptNotice, Subscription
from tests.planning.outlooks import HERON, NOW, racks, sure
from tests.service.push_service import Phone, PushService, running_push_service

MORNING: Millis = 1_772_431_200_000
FIT = Notice("fit:1:4:0", "fit", 1, "Heron: fit to dip", "Coat 5 of 10 (backup) may go on.", MORNING)
GAP = Notice("unsure:2:3:0", "unsure", 2, "Teal: unsure", "No air is known since 04:00.", MORNING)


@dataclass
class WallClock:
    now: Millis = MORNING

    def __call__(self) -> Millis:
        return self.now

    def advance_s(self, seconds: float) -> None:
        self.now += round(seconds * SECOND_MS)


@dataclass
class Postman:
    """A sender that notes what it was given and answers as told: `sent` where nothing is told."""

    answers: list[Outcome | BaseException] = field(default_factory=list)
    sent: list[tuple[int, Payload, int, Urgency, str]] = field(default_factory=list)

    async def send(
        self, subscription: Subscription, payload: Payload, ttl_s: int, urgency: Urgency, topic: str
    ) -> Outcome:
        self.sent.append((subscription.id, payload, ttl_s, urgency, topic))
        answer = self.answers.pop(0) if self.answers else Outcome("sent")
        if isinstance(answer, BaseException):
            raise answer
        return answer

    @property
    def titles(self) -> list[object]:
        return [payload["title"] for _, payload, *_ in self.sent]


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


def add_phone(engine: Engine, name: str = "one") -> Subscription:
    return subscriptions.subscribe(engine, f"https://push.example/{name}", "p256dh", "auth", MORNING)


def run(outbox: Outbox) -> float | None:
    return asyncio.run(asyncio.wait_for(outbox.run_once(), 20.0))


def told(engine: Engine) -> KeptNotice:
    (notice,) = notices.notices(engine, 10)
    return notice


# With a real push service


@pytest.fixture
def service() -> Iterator[PushService]:
    with running_push_service() as service:
        yield service


def real_outbox(engine: Engine, service: PushService, wall: Callable[[], Millis], tmp_path: Path) -> Outbox:
    keys = vapid_keys(tmp_path / "push_key.pem")
    service.application_key = keys.public
    return Outbox(engine, WebPush(keys), wall)


def subscribe(engine: Engine, phone: Phone) -> Subscription:
    return subscriptions.subscribe(engine, phone.endpoint, phone.p256dh, phone.auth, MORNING)


def test_a_tree_that_comes_fit_is_read_on_the_phone(
    engine: Engine, service: PushService, wall: WallClock, tmp_path: Path
) -> None:
    """Judge to phone: outlook, reminder, ledger, outbox, request, decrypted words."""

    class Rack:
        def outlooks(self) -> list[Outlook]:
            return [replace(HERON, state="fit", fit_at=sure(NOW))]

    subscribe(engine, service.new_phone())
    outbox = real_outbox(engine, service, wall, tmp_path)
    assert Reminders(Rack(), NoticeLedger(engine, wall)).remind(NOW) == 1
    run(outbox)
    (push,) = service.pushes
    assert service.faults == []
    key = f"fit:1:4:{HERON.dipped_at}"
    assert push.payload == {
        "title": "Heron: fit to dip",
        "body": "Coat 5 of 10 (backup) may go on. Slowest was the vent joint, 30°.",
        "tag": topic_of(key),
        "url": "/trees/1",
    }
    assert (push.topic, push.urgency, push.ttl_s) == (topic_of(key), "high", 24 * 3600)
    # another process, another look, an hour later: nothing more
    assert Reminders(Rack(), NoticeLedger(engine, wall)).remind(NOW + HOUR_MS) == 0
    wall.advance_s(3600)
    run(real_outbox(engine, service, wall, tmp_path))
    assert len(service.pushes) == 1
    assert told(engine).sent == 1


def test_a_phone_that_is_gone_is_told_no_more(
    engine: Engine, service: PushService, wall: WallClock, tmp_path: Path
) -> None:
    gone, there = service.new_phone(), service.new_phone()
    subscribe(engine, gone)
    live = subscribe(engine, there)
    del service.phones["/push/1"]  # the push service answers 404
    outbox = real_outbox(engine, service, wall, tmp_path)
    notices.remember(engine, [FIT, GAP], wall())
    run(outbox)
    assert subscriptions.subscriptions(engine) == [live]
    assert [push.path for push in service.pushes] == ["/push/2", "/push/2"]
    assert service.faults == ["no phone at /push/1"]
    assert {(notice.sent, notice.dropped, notice.waiting) for notice in notices.notices(engine, 9)} == {
        (1, 1, 0)
    }
    service.answers.append((410, {}))
    notices.remember(engine, [replace(FIT, key="fit:1:5:0")], wall())
    run(outbox)
    assert subscriptions.subscriptions(engine) == []


def test_a_failure_is_tried_again_after_the_back_off_and_not_before(
    engine: Engine, service: PushService, wall: WallClock, tmp_path: Path
) -> None:
    subscribe(engine, service.new_phone())
    outbox = real_outbox(engine, service, wall, tmp_path)
    notices.remember(engine, [FIT], wall())
    service.answers.append((500, {}))
    run(outbox)
    assert len(service.pushes) == 1
    assert (told(engine).waiting, told(engine).last_error) == (1, "the push service answered 500")
    wall.advance_s(BACK_OFF_S[0] - 0.001)
    run(outbox)
    assert len(service.pushes) == 1
    wall.advance_s(0.001)
    run(outbox)
    assert len(service.pushes) == 2
    assert (told(engine).sent, told(engine).waiting, told(engine).last_error) == (1, 0, None)
    first, second = service.pushes
    assert first.topic == second.topic
    assert first.payload == second.payload


def test_a_phone_that_subscribed_with_keys_of_no_use_is_told_of_and_left(
    engine: Engine, service: PushService, wall: WallClock, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    add_phone(engine)
    notices.remember(engine, [FIT], wall())
    run(real_outbox(engine, service, wall, tmp_path))
    assert (told(engine).failed, told(engine).last_error) == (
        1,
        "key p256dh is not a point of the curve P-256",
    )
    assert "notice 'Heron: fit to dip' to phone 1 was refused" in caplog.text


# With a postman who does as told


def test_the_back_off_is_climbed_and_then_it_is_given_up(
    engine: Engine, wall: WallClock, caplog: pytest.LogCaptureFixture
) -> None:
    """30 s, 2 min, 10 min, 1 h, 6 h: this project's own choice."""
    postman = Postman([Outcome("later", "no answer")] * 10)
    outbox = Outbox(engine, postman, wall)
    add_phone(engine)
    notices.remember(engine, [FIT], wall())
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
    outbox = Outbox(engine, postman, wall)
    add_phone(engine)
    notices.remember(engine, [FIT], wall())
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
    notices.remember(engine, [FIT], wall())
    postman = Postman([fault])
    with pytest.raises(type(fault)):
        run(Outbox(engine, postman, wall))
    engine.dispose()
    assert len(postman.sent) == 1

    engine = open_store(url)
    again = Postman()
    for _ in range(5):
        assert notices.remember(engine, [FIT], wall()) == 0
        run(Outbox(engine, again, wall))
        wall.advance_s(24 * 3600)
    kept = told(engine)
    engine.dispose()
    assert again.sent == []
    assert (kept.maybe_sent, kept.sent, kept.waiting, kept.failed) == (1, 0, 0, 0)


def test_what_was_never_begun_is_sent_after_a_crash(url: str, wall: WallClock) -> None:
    """Killed after the notice was kept and before any request."""
    engine = open_store(url)
    add_phone(engine)
    notices.remember(engine, [FIT, GAP], wall())
    engine.dispose()
    engine = open_store(url)
    postman = Postman()
    run(Outbox(engine, postman, wall))
    engine.dispose()
    assert postman.titles == ["Heron: fit to dip", "Teal: unsure"]


def test_two_workers_send_a_notice_once(engine: Engine, wall: WallClock) -> None:
    postman = Postman()
    for name in ("one", "two", "three"):
        add_phone(engine, name)
    notices.remember(engine, [FIT, GAP], wall())

    async def both() -> None:
        await asyncio.gather(*(Outbox(engine, postman, wall).run_once() for _ in range(3)))

    asyncio.run(asyncio.wait_for(both(), 20.0))
    assert len(postman.sent) == 6
    assert len({(phone, topic) for phone, _, _, _, topic in postman.sent}) == 6


def test_a_silent_phone_does_not_hold_up_the_others(engine: Engine, wall: WallClock) -> None:
    for name in ("silent", "two", "three"):
        add_phone(engine, name)
    notices.remember(engine, [FIT, GAP], wall())

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
        await Outbox(engine, postman, wall, note).run_once()
        assert sorted(settled[:4]) == [(2, "sent"), (2, "sent"), (3, "sent"), (3, "sent")]
        # and it is not asked for the second notice in the same look
        assert settled[4:] == [(1, "later")]

    asyncio.run(asyncio.wait_for(scene(), 20.0))


def test_one_fault_of_the_sender_leaves_the_other_phones_served(engine: Engine, wall: WallClock) -> None:
    for name in ("one", "two"):
        add_phone(engine, name)
    notices.remember(engine, [FIT], wall())
    with pytest.raises(RuntimeError, match="out of order"):
        run(Outbox(engine, Postman([RuntimeError("out of order")]), wall))
    assert (told(engine).sent, told(engine).maybe_sent) == (1, 1)


def test_a_full_outbox_is_emptied_in_several_looks_in_order(engine: Engine, wall: WallClock) -> None:
    add_phone(engine)
    many = [replace(FIT, key=f"fit:{n}", title=f"tree {n}") for n in range(AT_ONCE + 3)]
    notices.remember(engine, many, wall())
    postman = Postman()
    outbox = Outbox(engine, postman, wall)
    assert run(outbox) == 0.0
    assert run(outbox) is None
    assert postman.titles == [notice.title for notice in many]


def test_with_no_phone_a_notice_is_kept_and_heard_of_but_not_sent(engine: Engine, wall: WallClock) -> None:
    heard: list[str] = []
    ledger = NoticeLedger(engine, wall, lambda notice: heard.append(f"{notice.title}. {notice.body}"))
    assert ledger.remember([FIT, GAP]) == 2
    assert ledger.remember([GAP, replace(FIT, key="fit:1:5:0", title="Heron again")]) == 1
    assert ledger.remember([]) == 0
    assert heard == [f"{FIT.title}. {FIT.body}", f"{GAP.title}. {GAP.body}", f"Heron again. {FIT.body}"]
    postman = Postman()
    run(Outbox(engine, postman, wall))
    assert postman.sent == []
    add_phone(engine)  # a phone that comes later is not told of the past
    run(Outbox(engine, postman, wall))
    assert postman.sent == []


@pytest.fixture(scope="module")
def shared_engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    engine = open_store(f"sqlite:///{tmp_path_factory.mktemp('shop') / 'shop.db'}")
    yield engine
    engine.dispose()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(racks())
def test_remembering_what_is_due_twice_keeps_it_once(shared_engine: Engine, rack: list[Outlook]) -> None:
    """Idempotent, whoever remembers: the store is not emptied between the examples, so keys come again."""
    ledger = NoticeLedger(shared_engine, WallClock())
    known = {notice.key for notice in notices.notices(shared_engine, 100_000)}
    wanted = due(rack, NOW)
    assert ledger.remember(wanted) == len({notice.key for notice in wanted} - known)
    assert ledger.remember(due(list(reversed(rack)), NOW + HOUR_MS)) == 0
    keys = [notice.key for notice in notices.notices(shared_engine, 100_000)]
    assert len(keys) == len(set(keys))
    assert set(keys) == known | {notice.key for notice in wanted}
