"""From an outlook to the words on the phone, through a push service that checks and decrypts."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from scheduler.forecast import Outlook
from scheduler.reminders import Reminders
from sensors.clock import HOUR_MS, Millis
from server.phone.ledger import NoticeLedger
from server.phone.outbox import BACK_OFF_S, Outbox
from server.phone.vapid import vapid_keys
from server.phone.web_push import WebPush, topic_of
from server.store import notices, subscriptions
from server.store.engine import Engine, open_store
from server.store.values import Subscription
from tests.planning.outlooks import AT_ANY_HOUR, HERON, NOW, due, racks, sure
from tests.service.postman import FIT, GAP, MORNING, WallClock, add_phone, run, tell, told
from tests.service.push_service import Phone, PushService, running_push_service


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


@pytest.fixture
def service() -> Iterator[PushService]:
    with running_push_service() as service:
        yield service


def real_outbox(engine: Engine, service: PushService, wall: Callable[[], Millis], tmp_path: Path) -> Outbox:
    keys = vapid_keys(tmp_path / "push_key.pem")
    service.application_key = keys.public
    return Outbox(engine, {"push": WebPush(keys)}, wall)


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
    assert Reminders(Rack(), NoticeLedger(engine, wall), lambda: AT_ANY_HOUR).remind(NOW) == 1
    run(outbox)
    (push,) = service.pushes
    assert service.faults == []
    key = f"fit:1:4:{HERON.dipped_at}"
    assert push.payload == {
        "title": "Heron: fit to dip",
        "body": "Coat 5 of 10 (backup) may go on. Slowest was the vent joint, 30°.",
        "tag": topic_of(key),
        "url": "/trees/1",
        "notice": 1,
        "cause": "fit",
        "tree": 1,
        "coat": 5,
        "key": f"notice-{topic_of(key)}",
    }
    assert (push.topic, push.urgency, push.ttl_s) == (topic_of(key), "high", 24 * 3600)
    # another process, another look, an hour later: nothing more
    assert Reminders(Rack(), NoticeLedger(engine, wall), lambda: AT_ANY_HOUR).remind(NOW + HOUR_MS) == 0
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
    tell(engine, [FIT, GAP], wall())
    run(outbox)
    assert subscriptions.subscriptions(engine) == [live]
    assert [push.path for push in service.pushes] == ["/push/2", "/push/2"]
    assert service.faults == ["no phone at /push/1"]
    assert {(notice.sent, notice.dropped, notice.waiting) for notice in notices.notices(engine, 9)} == {
        (1, 1, 0)
    }
    service.answers.append((410, {}))
    tell(engine, [replace(FIT, key="fit:1:5:0")], wall())
    run(outbox)
    assert subscriptions.subscriptions(engine) == []


def test_a_failure_is_tried_again_after_the_back_off_and_not_before(
    engine: Engine, service: PushService, wall: WallClock, tmp_path: Path
) -> None:
    subscribe(engine, service.new_phone())
    outbox = real_outbox(engine, service, wall, tmp_path)
    tell(engine, [FIT], wall())
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
    tell(engine, [FIT], wall())
    run(real_outbox(engine, service, wall, tmp_path))
    assert (told(engine).failed, told(engine).last_error) == (
        1,
        "key p256dh is not a point of the curve P-256",
    )
    assert "notice 'Heron: fit to dip' to phone 1 was refused" in caplog.text


@pytest.fixture(scope="module")
def shared_engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    engine = open_store(f"sqlite:///{tmp_path_factory.mktemp('shop') / 'shop.db'}")
    yield engine
    engine.dispose()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(racks())
def test_remembering_what_is_due_twice_keeps_it_once(shared_engine: Engine, rack: list[Outlook]) -> None:
    """Idempotent, whoever remembers: the store is not emptied between the examples, so keys come again."""
    known = {notice.key for notice in notices.notices(shared_engine, 100_000)}
    wanted = due(rack, NOW)
    assert tell(shared_engine, wanted) == len({notice.key for notice in wanted} - known)
    assert tell(shared_engine, due(list(reversed(rack)), NOW + HOUR_MS)) == 0
    keys = [notice.key for notice in notices.notices(shared_engine, 100_000)]
    assert len(keys) == len(set(keys))
    assert set(keys) == known | {notice.key for notice in wanted}
