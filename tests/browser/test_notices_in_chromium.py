"""What the worker does with a push: shown with its buttons, which do what they say.

What is pushed comes in by the browser's debugging protocol, encrypted by nobody; the encryption and the
signature are tried against a push service of our own in the tests of the outbox.
"""

import json
from typing import Any

import pytest
from playwright.sync_api import CDPSession, Page, Worker, expect

from scheduler.forecast import Notice
from scheduler.ledger import Settlement
from sensors.clock import MINUTE_MS
from server.phone.payload import TEST, payload_of
from server.phone.web_push import encode_payload
from server.store import dips as dip_store
from server.store import held_notices, notices, phones, subscriptions
from server.store.put_off import put_offs
from server.store.values import Tree
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import count, tree_of
from tests.service.fake_shop import NOON
from tests.service.push_service import PushService

pytestmark = pytest.mark.browser


class Told:
    """A phone whose worker runs: pushes come in, and its notices can be seen and pressed."""

    def __init__(self, page: Page, live: LiveShop) -> None:
        self.page, self.live = page, live
        page.context.grant_permissions(["notifications"])
        self._session: CDPSession = page.context.new_cdp_session(page)
        registered: list[dict[str, Any]] = []
        self._session.on(
            "ServiceWorker.workerRegistrationUpdated", lambda told: registered.extend(told["registrations"])
        )
        self._session.send("ServiceWorker.enable")
        page.goto(live.address)
        page.wait_for_function("() => navigator.serviceWorker.controller !== null")
        for _ in range(100):
            if registered:
                break
            page.wait_for_timeout(20)
        self._id = registered[0]["registrationId"]
        self.worker: Worker = page.context.service_workers[0]
        self.worker.evaluate(
            """() => {
              self.wasShown = [];
              const show = registration.showNotification.bind(registration);
              registration.showNotification = async (title, options) => {
                await show(title, options);
                wasShown.push(`${title} ${options.body}`);
              };
            }"""
        )

    def push(self, payload: str) -> None:
        self._session.send(
            "ServiceWorker.deliverPushMessage",
            {"origin": self.live.address, "registrationId": self._id, "data": payload},
        )

    def shown(self, words: str) -> list[dict[str, Any]]:
        """The notices on the phone, once one of them says `words`.

        Chromium lets go of a notice that is asked for while it is about to be shown, so it is asked for late.
        """
        for _ in range(500):
            if any(words in said for said in self.worker.evaluate("wasShown")):
                break
            self.page.wait_for_timeout(20)
        for _ in range(20):
            self.page.wait_for_timeout(250)
            found: list[dict[str, Any]] = self.worker.evaluate(
                """async () => (await registration.getNotifications()).map((one) => ({
                  title: one.title, body: one.body, tag: one.tag, data: one.data, renotify: one.renotify,
                  actions: one.actions.map(({ action }) => action),
                }))"""
            )
            if any(words in f"{one['title']} {one['body']}" for one in found):
                return found
        raise AssertionError(f"no notice says {words!r}: {found}")

    def press(self, tag: str, action: str = "") -> None:
        """Touch a notice, or a button of it; done when its work is.

        Only a real touch allows a worker to bring a window to the front: that is stood in for.
        """
        self.worker.evaluate(
            """async ([tag, action]) => {
              WindowClient.prototype.focus = async function () { return this; };
              const [notification] = await registration.getNotifications({ tag });
              const event = new NotificationEvent("notificationclick", { notification, action });
              const work = [];
              event.waitUntil = (promise) => work.push(promise);
              self.dispatchEvent(event);
              await Promise.all(work);
            }""",
            [tag, action],
        )


def pushed(live: LiveShop, tree: Tree, coat: int = 4, cause: str = "fit") -> dict[str, Any]:
    """A notice of a tree as the outbox sends it."""
    engine = live.shop.engine
    if not subscriptions.subscriptions(engine):
        subscriptions.subscribe(engine, "https://push.example/one", "p", "a", NOON)
    key = f"{cause}:{tree.id}:{coat}:{NOON - 3 * 60 * MINUTE_MS}"
    notice = Notice(key, cause, tree.id, f"{tree.label}: fit to dip", f"Coat {coat + 1} may go on.", NOON)
    held_notices.settle(engine, Settlement((notice,), frozenset(), (notice,)), lambda _: ("", ""), NOON, NOON)
    (delivery,) = [one for one in notices.due_deliveries(engine, NOON, 99) if one.key == key]
    payload: dict[str, Any] = json.loads(encode_payload(payload_of(delivery)))
    return payload


@pytest.fixture
def told(live: LiveShop, phone: Phone) -> Told:
    return Told(phone(), live)


def test_a_push_is_shown_with_its_buttons_and_dipped_logs_one_dip(told: Told, live: LiveShop) -> None:
    heron = tree_of(live, "Heron")
    live.shop.rack.on_refresh = lambda _: live.shop.judge(heron, "drying", remaining=1.0)
    notice = pushed(live, heron)
    for _ in range(2):
        told.push(json.dumps(notice))
        (one,) = told.shown("Heron: fit to dip")
    assert one["body"] == "Coat 5 may go on."
    assert (one["tag"], one["renotify"], one["actions"]) == (notice["tag"], False, ["dipped", "later"])
    assert one["data"]["url"] == f"/trees/{heron.id}"
    told.press(notice["tag"], "dipped")
    (done,) = told.shown("Coat 5 is written down")
    assert done["body"].startswith("Heron, dipped at ")
    assert done["actions"] == ["undo"]
    assert count(live, heron) == 5
    told.push(json.dumps(notice))  # a late copy, pressed as well: the same dip
    told.shown("Heron: fit to dip")
    told.press(notice["tag"], "dipped")
    told.shown("Coat 5 is written down")
    assert count(live, heron) == 5
    told.press(notice["tag"], "undo")
    told.shown("Coat 5 is taken back")
    assert count(live, heron) == 4


def test_a_dip_that_asks_something_opens_the_tree(told: Told, live: LiveShop) -> None:
    bittern = tree_of(live, "Bittern")
    notice = pushed(live, bittern, coat=3)
    told.push(json.dumps(notice))
    told.shown("Bittern: fit to dip")
    told.press(notice["tag"], "dipped")
    told.page.wait_for_url(f"{live.address}/trees/{bittern.id}")
    assert count(live, bittern) == 3


def test_a_touch_opens_the_tree(told: Told, live: LiveShop) -> None:
    heron = tree_of(live, "Heron")
    notice = pushed(live, heron)
    told.push(json.dumps(notice))
    told.shown("Heron: fit to dip")
    told.press(notice["tag"])
    told.page.wait_for_url(f"{live.address}/trees/{heron.id}")
    assert count(live, heron) == 4


def test_later_puts_the_tree_off(told: Told, live: LiveShop) -> None:
    heron = tree_of(live, "Heron")
    notice = pushed(live, heron)
    told.push(json.dumps(notice))
    told.shown("Heron: fit to dip")
    told.press(notice["tag"], "later")
    assert put_offs(live.shop.engine)[heron.id].until == NOON + 30 * MINUTE_MS
    assert told.worker.evaluate("async () => (await registration.getNotifications()).length") == 0


def test_a_dip_pressed_without_a_connection_waits_and_is_sent_with_its_own_time(
    told: Told, live: LiveShop
) -> None:
    heron, page = tree_of(live, "Heron"), told.page
    notice = pushed(live, heron)
    told.push(json.dumps(notice))
    told.shown("Heron: fit to dip")
    live.stop()
    told.press(notice["tag"], "dipped")
    told.shown("Not connected: the dip waits here")
    told.press(notice["tag"])
    expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible(timeout=15_000)
    live.shop.clock.time += 60 * MINUTE_MS
    live.shop.rack.on_refresh = lambda _: live.shop.judge(heron, "drying", remaining=1.0)
    live.start()
    expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
    dips = dip_store.dips(live.shop.engine, heron.id)
    assert len(dips) == 5
    assert abs(dips[-1].at - NOON) < MINUTE_MS
    assert dips[-1].said_at == NOON + 60 * MINUTE_MS


def test_a_newer_notice_of_a_tree_takes_the_older_ones_away(told: Told, live: LiveShop) -> None:
    heron, bittern = tree_of(live, "Heron"), tree_of(live, "Bittern")
    told.push(json.dumps(pushed(live, heron)))
    told.push(json.dumps(pushed(live, bittern, coat=3)))
    told.shown("Bittern: fit to dip")
    wrong = pushed(live, heron, cause="not-fit") | {"title": "Heron: not fit after all"}
    told.push(json.dumps(wrong))
    left = told.shown("not fit after all")
    assert sorted(one["title"] for one in left) == ["Bittern: fit to dip", "Heron: not fit after all"]
    assert next(one for one in left if one["title"].startswith("Heron"))["actions"] == []


CHANGED = """async ({ old, fresh, p256dh, auth }) => {
  const one = (endpoint) => ({ endpoint, options: { applicationServerKey: "ours" },
    toJSON: () => ({ endpoint, expirationTime: null, keys: { p256dh, auth } }) });
  self.askedFor = [];
  PushManager.prototype.subscribe = async (options) => {
    askedFor.push([options.userVisibleOnly, options.applicationServerKey]);
    return one(`${fresh}-asked`);
  };
  const event = Object.assign(new ExtendableEvent("pushsubscriptionchange"), {
    oldSubscription: old ? one(old) : null, newSubscription: self.given ? one(fresh) : null,
  }), work = [];
  event.waitUntil = (promise) => work.push(promise);
  self.dispatchEvent(event);
  await Promise.all(work);
  return { handled: work.length, asked: askedFor };
}"""
"""The browser's word that the phone's address changed. It comes from its maker's service alone, so it is made
here with what the Push API says is on it (W3C Push API, from memory)."""


def test_a_phone_whose_address_changes_is_told_at_the_new_one(
    told: Told, live: LiveShop, push_service: PushService
) -> None:
    engine, heron = live.shop.engine, tree_of(live, "Heron")
    first, second = push_service.new_phone(), push_service.new_phone()
    subscriptions.subscribe(engine, first.endpoint, first.p256dh, first.auth, NOON)
    pushed(live, heron)  # a notice waits for it
    to_second = {"fresh": second.endpoint, "p256dh": second.p256dh, "auth": second.auth}
    told.worker.evaluate("self.given = true")
    done = told.worker.evaluate(CHANGED, to_second | {"old": first.endpoint})
    assert done == {"handled": 1, "asked": []}
    (kept,) = subscriptions.subscriptions(engine)
    assert (kept.endpoint, kept.p256dh, kept.auth) == (second.endpoint, second.p256dh, second.auth)
    (due,) = notices.due_deliveries(engine, NOON, 9)
    assert due.subscription.endpoint == second.endpoint
    assert phones.phone_at(engine, first.endpoint) is None
    # A browser that brings no new subscription is asked for one, by the old one's key or the service's.
    told.worker.evaluate("self.given = false")
    done = told.worker.evaluate(CHANGED, to_second | {"old": second.endpoint})
    assert done == {"handled": 1, "asked": [[True, "ours"]]}
    done = told.worker.evaluate(CHANGED, to_second | {"old": None})
    assert done == {"handled": 1, "asked": [[True, live.shop.parts.vapid_public_key]]}
    assert [one.endpoint for one in subscriptions.subscriptions(engine)] == [f"{second.endpoint}-asked"]


def test_a_push_that_cannot_be_read_says_to_look(told: Told) -> None:
    look = "Something is to be seen on the rack."
    for payload in ("[]", "no JSON", '{"body": "x"}'):
        told.push(payload)
        (one,) = told.shown(look)
        assert (one["data"]["url"], one["actions"]) == ("/", [])
        told.press(one["tag"])
    told.push(encode_payload(TEST).decode())
    told.shown("A test notice, asked for on this phone.")
