"""Notices, their deliveries and the phones: each cause once, and no attempt that nobody knows of."""

import threading

import pytest
from sqlalchemy import Engine, event

from scheduler.forecast import Notice
from scheduler.ledger import Settlement
from scheduler.summary import words
from server.store import held_notices, notices, subscriptions
from server.store.engine import StoreError, UnknownError
from server.store.values import Delivery, Subscription
from tests.service.postman import tell

T0 = 1_772_431_200_000
WALL = 1_772_500_000_000


def notice(key: str = "fit:1:4:0", at: int = T0) -> Notice:
    return Notice(key, "fit", 1, "Heron: fit to dip", "Coat 5 of 10 may go on.", at)


def phone(engine: Engine, name: str = "one") -> Subscription:
    return subscriptions.subscribe(engine, f"https://push.example.invalid/{name}", "key", "auth", WALL)


def due(engine: Engine, wall_now: int = WALL) -> list[Delivery]:
    return notices.due_deliveries(engine, wall_now, 100)


def test_a_notice_is_kept_once_with_a_delivery_for_each_phone(engine: Engine) -> None:
    one, two = phone(engine, "one"), phone(engine, "two")
    assert tell(engine, [notice(), notice("unsure:1:4:0"), notice()], WALL) == 2
    assert tell(engine, [notice()], WALL + 5) == 0
    assert [(delivery.key, delivery.subscription) for delivery in due(engine)] == [
        ("fit:1:4:0", one),
        ("fit:1:4:0", two),
        ("unsure:1:4:0", one),
        ("unsure:1:4:0", two),
    ]
    first = due(engine)[0]
    assert (first.title, first.body, first.tree_id) == ("Heron: fit to dip", "Coat 5 of 10 may go on.", 1)
    assert (first.cause, first.attempts, first.next_try) == ("fit", 0, WALL)
    assert due(engine, WALL - 1) == []


def test_a_notice_without_phones_is_kept_all_the_same(engine: Engine) -> None:
    assert tell(engine, [], WALL) == 0
    assert tell(engine, [notice(at=T0), notice("b", T0 + 1)], WALL) == 2
    phone(engine)  # a phone that comes later is not told what was told before
    assert due(engine) == []
    assert [(kept.key, kept.at, kept.waiting) for kept in notices.notices(engine, 10)] == [
        ("b", T0 + 1, 0),
        ("fit:1:4:0", T0, 0),
    ]
    assert [kept.key for kept in notices.notices(engine, 1)] == ["b"]


def test_a_notice_and_its_deliveries_are_kept_together_or_not_at_all(engine: Engine) -> None:
    phone(engine)

    @event.listens_for(engine, "before_cursor_execute")
    def break_deliveries(_c: object, _cursor: object, statement: str, *_rest: object) -> None:
        if statement.startswith("INSERT INTO delivery"):
            raise RuntimeError("killed between the two")

    with pytest.raises(RuntimeError, match="killed"):
        tell(engine, [notice()], WALL)
    event.remove(engine, "before_cursor_execute", break_deliveries)
    assert notices.notices(engine, 10) == []
    assert tell(engine, [notice()], WALL) == 1
    assert len(due(engine)) == 1


def test_two_threads_that_remember_the_same_keep_it_once(engine: Engine) -> None:
    phone(engine)
    counts: list[int] = []

    def say() -> None:
        for number in range(20):
            counts.append(tell(engine, [notice(f"fit:{number}"), notice(f"fit:{number + 1}")], WALL))

    threads = [threading.Thread(target=say) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(counts) == 40
    assert sum(counts) == 21
    assert len(due(engine)) == 21


def test_an_attempt_is_begun_by_one_and_kept_before_the_request(engine: Engine) -> None:
    phone(engine)
    tell(engine, [notice()], WALL)
    (delivery,) = due(engine)
    assert notices.begin_attempt(engine, delivery)
    assert not notices.begin_attempt(engine, delivery)
    assert due(engine, WALL * 2) == []  # what a crash leaves like this is not sent again
    (kept,) = notices.notices(engine, 10)
    assert (kept.maybe_sent, kept.sent, kept.waiting, kept.failed) == (1, 0, 0, 0)
    notices.delivered(engine, delivery, WALL + 1)
    (kept,) = notices.notices(engine, 10)
    assert (kept.maybe_sent, kept.sent) == (0, 1)


def test_what_did_not_go_through_waits_for_its_time(engine: Engine) -> None:
    phone(engine)
    tell(engine, [notice()], WALL)
    (delivery,) = due(engine)
    notices.begin_attempt(engine, delivery)
    notices.postponed(engine, delivery, "503 from the push service", WALL + 30_000)
    assert due(engine, WALL + 29_999) == []
    (again,) = due(engine, WALL + 30_000)
    assert (again.attempts, again.next_try) == (1, WALL + 30_000)
    assert notices.begin_attempt(engine, again)
    notices.failed(engine, again, "gave up")
    (kept,) = notices.notices(engine, 10)
    assert (kept.waiting, kept.failed, kept.last_error) == (0, 1, "gave up")
    assert due(engine, WALL * 2) == []


def test_an_outcome_counts_only_for_an_attempt_that_was_begun(engine: Engine) -> None:
    phone(engine)
    tell(engine, [notice()], WALL)
    (delivery,) = due(engine)
    notices.delivered(engine, delivery, WALL)
    assert due(engine) == [delivery]


def test_the_longest_due_goes_first_and_no_more_than_asked(engine: Engine) -> None:
    phone(engine)
    tell(engine, [notice("b")], WALL + 10)
    tell(engine, [notice("a")], WALL)
    assert [one.key for one in notices.due_deliveries(engine, WALL + 10, 100)] == ["a", "b"]
    assert [one.key for one in notices.due_deliveries(engine, WALL + 10, 1)] == ["a"]


def test_a_dropped_phone_is_told_no_more_until_it_asks_again(engine: Engine) -> None:
    one, two = phone(engine, "one"), phone(engine, "two")
    tell(engine, [notice("a")], WALL)
    first = due(engine)[0]
    assert first.subscription == one
    notices.begin_attempt(engine, first)
    notices.dropped(engine, first, "410 Gone", WALL)
    subscriptions.drop(engine, one.id, "410 Gone", WALL)
    subscriptions.drop(engine, one.id, "another reason", WALL + 1)
    assert subscriptions.subscriptions(engine) == [two]
    tell(engine, [notice("b")], WALL)
    assert [(each.key, each.subscription) for each in due(engine)] == [("a", two), ("b", two)]
    kept = {each.key: each for each in notices.notices(engine, 10)}
    assert (kept["a"].dropped, kept["a"].waiting, kept["a"].last_error) == (1, 1, "410 Gone")
    assert phone(engine, "one").id == one.id
    assert len(subscriptions.subscriptions(engine)) == 2
    assert len(due(engine)) == 2  # what was dropped stays dropped


def test_what_waits_for_a_phone_that_is_dropped_is_dropped(engine: Engine) -> None:
    one = phone(engine)
    tell(engine, [notice()], WALL)
    subscriptions.drop(engine, one.id, "410 Gone", WALL)
    (kept,) = notices.notices(engine, 10)
    assert (kept.waiting, kept.dropped) == (0, 1)
    with pytest.raises(UnknownError, match="no subscription 99"):
        subscriptions.drop(engine, 99, "", WALL)


def test_an_endpoint_that_asks_again_has_its_keys_renewed(engine: Engine) -> None:
    first = phone(engine)
    again = subscriptions.subscribe(engine, first.endpoint, "new key", "new auth", WALL + 1)
    assert again == Subscription(first.id, first.endpoint, "new key", "new auth")
    assert subscriptions.subscriptions(engine) == [again]


def test_a_store_error_is_what_a_broken_notice_gives(engine: Engine) -> None:
    broken = Notice("k", "fit", 1, None, "body", T0)  # type: ignore[arg-type]
    with pytest.raises(StoreError, match=r"notice\.title"):
        held_notices.settle(engine, Settlement((notice(), broken)), words, WALL, WALL)
    assert notices.notices(engine, 10) == []
