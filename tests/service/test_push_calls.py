"""The calls of phones that are told: asked for, looked at, tried, stopped, moved, and a notice put off."""

import asyncio
from typing import Any

import pytest

from scheduler.forecast import Notice
from scheduler.ledger import Settlement
from sensors.clock import HOUR_MS, MINUTE_MS
from server.phone.payload import payload_of
from server.phone.sending import Outcome, Payload, Urgency
from server.phone.trying import try_phone
from server.phone.web_push import topic_of
from server.store import dips as dip_store
from server.store import held_notices, notices, phones, subscriptions
from server.store.engine import Engine
from server.store.put_off import put_offs
from server.store.values import Delivery, Subscription
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished, problem
from tests.service.push_service import running_push_service

HERE = "https://push.example/one"


@pytest.fixture
def phone() -> dict[str, Any]:
    with running_push_service() as service:
        new = service.new_phone()
        return {"endpoint": HERE, "keys": {"p256dh": new.p256dh, "auth": new.auth}}


def tell(shop: FakeShop, notice: Notice) -> None:
    """Have a notice told now."""
    settlement = Settlement(new=(notice,), tell=(notice,))
    held_notices.settle(shop.engine, settlement, lambda _: ("", ""), NOON, NOON)


def standing(web: Browser, endpoint: str = HERE) -> dict[str, Any]:
    answer = web.post("/api/push/subscriptions/standing", json={"endpoint": endpoint})
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def test_a_phone_asks_and_stops(shop: FakeShop, web: Browser, phone: dict[str, Any]) -> None:
    assert standing(web) == {"state": "unknown", "reason": ""}
    assert web.post("/api/push/subscriptions", json=phone).status_code == 201
    assert standing(web)["state"] == "told"
    for _ in range(2):
        answer = web.post("/api/push/subscriptions/stop", json={"endpoint": HERE})
        assert answer.json() == {"state": "dropped", "reason": "it was asked for on the phone"}
    assert subscriptions.subscriptions(shop.engine) == []
    assert web.post("/api/push/subscriptions", json=phone).status_code == 201
    assert standing(web)["state"] == "told"
    assert (
        web.post("/api/push/subscriptions/stop", json={"endpoint": HERE + "x"}).json()["state"] == "unknown"
    )


def test_a_phone_that_moves_takes_what_waits_for_it_along(
    shop: FakeShop, web: Browser, phone: dict[str, Any]
) -> None:
    web.post("/api/push/subscriptions", json=phone)
    tell(shop, Notice("k", "fit", 1, "t", "b", NOON))
    moved = {**phone, "endpoint": "https://push.example/two", "replaces": HERE}
    for _ in range(2):
        assert web.post("/api/push/subscriptions", json=moved).status_code == 201
    assert standing(web)["state"] == "unknown"
    (due,) = notices.due_deliveries(shop.engine, NOON, 9)
    assert due.subscription.endpoint == "https://push.example/two"


def test_a_test_goes_to_this_phone_alone(shop: FakeShop, web: Browser, phone: dict[str, Any]) -> None:
    refused = web.post("/api/push/subscriptions/test", json={"endpoint": HERE})
    assert problem(refused, 409)["detail"] == "this phone is not told: ask for that first"
    web.post("/api/push/subscriptions", json=phone)
    assert web.post("/api/push/subscriptions/test", json={"endpoint": HERE}).json() == {
        "sent": True,
        "reason": "",
    }
    shop.not_tried = "the push service answered 500"
    assert web.post("/api/push/subscriptions/test", json={"endpoint": HERE}).json() == {
        "sent": False,
        "reason": "the push service answered 500",
    }
    assert shop.tried == [HERE, HERE]


@pytest.mark.parametrize(
    ("kind", "told"), [("sent", True), ("later", True), ("refused", True), ("gone", False)]
)
def test_a_phone_that_is_gone_is_dropped_by_a_test(engine: Engine, kind: Any, told: bool) -> None:
    class Sender:
        async def send(
            self, subscription: Subscription, payload: Payload, ttl_s: int, urgency: Urgency, topic: str
        ) -> Outcome:
            return Outcome(kind, "" if kind == "sent" else "said so")

    kept = subscriptions.subscribe(engine, HERE, "p", "a", NOON)
    reason = asyncio.run(try_phone(engine, Sender(), lambda: NOON, kept))
    assert reason == ("" if kind == "sent" else "said so")
    known = phones.phone_at(engine, HERE)
    assert known is not None
    assert (known.dropped is None, known.reason) == (told, "" if told else "said so")
    assert [one.reason for one in phones.dropped_phones(engine, NOON - 1, 9)] == [] if told else ["said so"]


def delivery(key: str, tree_id: int | None = 7) -> Delivery:
    kept = Subscription(1, HERE, "p", "a")
    return Delivery(3, key, key.partition(":")[0], kept, "title", "body", tree_id, 0, NOON)


@pytest.mark.parametrize("key", ["fit:7:4:1000", "fit:7:4:1000:2"])
def test_a_fit_tree_can_be_said_dipped_from_its_notice(key: str) -> None:
    payload = payload_of(delivery(key))
    assert payload == {
        "title": "title",
        "body": "body",
        "tag": topic_of(key),
        "url": "/trees/7",
        "notice": 3,
        "cause": "fit",
        "tree": 7,
        "coat": 5,
        "key": f"notice-{topic_of(key)}",
    }


@pytest.mark.parametrize("key", ["not-fit:7:4:1000", "through:7:10:1000", "swing:7:2026-03-02", "fit:x"])
def test_no_other_notice_says_a_dip(key: str) -> None:
    assert "coat" not in payload_of(delivery(key))
    assert payload_of(delivery(key))["tree"] == 7
    assert "tree" not in payload_of(delivery(key, None))


def dip(web: Browser, tree_id: int, coat: int, key: str = "notice-1") -> Any:
    return web.post(f"/api/trees/{tree_id}/dips", json={"coat": coat}, headers={"Idempotency-Key": key})


def test_two_phones_that_say_one_notice_make_one_dip(shop: FakeShop, web: Browser) -> None:
    heron = furnished(shop)["Heron"]
    first, second = dip(web, heron.id, 5), dip(web, heron.id, 5)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json()["id"] == second.json()["id"]
    assert len(dip_store.dips(shop.engine, heron.id)) == 5


def test_an_old_notice_says_no_later_coat(shop: FakeShop, web: Browser) -> None:
    heron = furnished(shop)["Heron"]
    asked = problem(dip(web, heron.id, 4), 409)
    assert asked["question"] == "Heron has coat 4 on, and this was said of coat 4: is it coat 5?"
    assert len(dip_store.dips(shop.engine, heron.id)) == 4
    form = {"coat": "4", "key": "f"}
    page = web.post(f"/trees/{heron.id}/dips", data=form)
    assert page.status_code == 409
    assert "is it coat 5?" in page.text
    assert web.post(f"/trees/{heron.id}/dips", data=form | {"confirm": "yes"}).status_code == 303


def test_a_notice_is_put_off(shop: FakeShop, web: Browser) -> None:
    heron = furnished(shop)["Heron"]
    tell(shop, Notice("fit:k", "fit", heron.id, "t", "b", NOON))
    (kept,) = notices.notices(shop.engine, 9)
    answer = web.post(f"/api/notices/{kept.id}/put-off")
    assert answer.json() == {"trees": [heron.id]}
    assert put_offs(shop.engine)[heron.id].until == NOON + 30 * MINUTE_MS
    web.post(f"/api/notices/{kept.id}/put-off", json={"minutes": 60})
    assert put_offs(shop.engine)[heron.id].until == NOON + HOUR_MS
    problem(web.post("/api/notices/99/put-off"), 404)
    problem(web.post(f"/api/notices/{kept.id}/put-off", json={"minutes": 0}), 422)
