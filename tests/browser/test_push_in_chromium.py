"""Being told on a phone: asked for, tried and stopped on the Shop page.

The browser's own `subscribe()` needs its maker's push service, which no test may reach: it is stood in for.
"""

import json
import os
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from server.store import phones, subscriptions
from tests.browser.conftest import LiveShop, Phone
from tests.service.fake_shop import NOON
from tests.service.push_service import PushService

pytestmark = pytest.mark.browser

STAND_IN = """({ endpoint, p256dh, auth }) => {
  window.subscribedWith = null;
  const one = (address) => address && {
    endpoint: address, toJSON: () => ({ endpoint: address, expirationTime: null, keys: { p256dh, auth } }),
    unsubscribe: async () => { localStorage.removeItem("held"); return true; },
  };
  PushManager.prototype.getSubscription = async () => one(localStorage.getItem("held"));
  PushManager.prototype.subscribe = async ({ userVisibleOnly, applicationServerKey }) => {
    window.subscribedWith = { userVisibleOnly, key: Array.from(applicationServerKey) };
    const made = Number(localStorage.getItem("made") ?? 0) + 1;
    localStorage.setItem("made", made);
    localStorage.setItem("held", made === 1 ? endpoint : `${endpoint}-${made}`);
    return one(localStorage.getItem("held"));
  };
}"""


def with_stand_in(page: Page, service: PushService, permission: str = "granted") -> str:
    """Have the page's browser subscribe at our push service; the address that it will be given."""
    new = service.new_phone()
    keys = json.dumps({"endpoint": new.endpoint, "p256dh": new.p256dh, "auth": new.auth})
    page.add_init_script(f"({STAND_IN})({keys})")
    if permission == "granted":
        page.context.grant_permissions(["notifications"])
    else:
        # Headless Chromium refuses without asking; what a person answers is stood in for.
        page.add_init_script(
            f"Object.defineProperty(Notification, 'permission', {{ get: () => '{permission}' }});"
            f"Notification.requestPermission = async () => '{permission}';"
        )
    return new.endpoint


def said(page: Page) -> Any:
    return page.locator("#told-phone [role=status]")


def test_a_phone_asks_to_be_told_tries_it_and_stops(
    live: LiveShop, phone: Phone, push_service: PushService
) -> None:
    page, engine = phone(), live.shop.engine
    endpoint = with_stand_in(page, push_service)
    page.goto(f"{live.address}/shop")
    expect(said(page)).to_have_text("This phone is not told.")
    page.get_by_role("button", name="Tell this phone").tap()
    expect(said(page)).to_have_text("This phone is told of what is due.")
    (kept,) = subscriptions.subscriptions(engine)
    assert kept.endpoint == endpoint
    expect(page.locator("#told-phones")).to_have_text("1 phone is told.")
    asked = page.evaluate("window.subscribedWith")
    assert asked["userVisibleOnly"] is True
    page.get_by_role("button", name="Send a test notice").tap()
    expect(said(page)).to_contain_text("The test notice is on its way")
    assert live.shop.tried == [endpoint]
    live.shop.not_tried = "the push service answered 500"
    page.get_by_role("button", name="Send a test notice").tap()
    expect(said(page)).to_contain_text("The test notice did not go: the push service answered 500.")
    page.get_by_role("button", name="Stop telling this phone").tap()
    expect(said(page)).to_have_text("This phone is not told.")
    assert subscriptions.subscriptions(engine) == []
    expect(page.locator("#told-phones")).to_contain_text("One phone is told no more since")


def test_a_phone_that_the_push_service_gave_up_says_so_and_asks_anew(
    live: LiveShop, phone: Phone, push_service: PushService
) -> None:
    page, engine = phone(), live.shop.engine
    endpoint = with_stand_in(page, push_service)
    page.goto(f"{live.address}/shop")
    page.get_by_role("button", name="Tell this phone").tap()
    expect(said(page)).to_have_text("This phone is told of what is due.")
    (kept,) = subscriptions.subscriptions(engine)
    subscriptions.drop(engine, kept.id, "the push service answered 410", NOON)
    page.get_by_role("button", name="Send a test notice").tap()
    expect(said(page)).to_contain_text("It was not done: this phone is not told")
    known = phones.phone_at(engine, endpoint)
    assert known is not None
    assert known.reason == "the push service answered 410"
    page.reload()  # the browser has its subscription still
    expect(said(page)).to_have_text("This phone is told no more: the push service answered 410.")
    page.get_by_role("button", name="Tell this phone").tap()
    expect(said(page)).to_have_text("This phone is told of what is due.")
    assert [one.endpoint for one in subscriptions.subscriptions(engine)] == [f"{endpoint}-2"]


@pytest.mark.parametrize(
    ("script", "words"),
    [
        (
            "Object.defineProperty(window, 'isSecureContext', { get: () => false })",
            "This phone does not trust the connection to the shop yet",
        ),
        (
            "delete window.PushManager;"
            "Object.defineProperty(navigator, 'userAgent', { get: () => 'iPhone; made up' });"
            "Object.defineProperty(navigator, 'standalone', { get: () => false });",
            "takes notices only from a page on its Home Screen: tap Share, then Add to Home Screen",
        ),
        ("delete window.PushManager", "This browser takes no notices from pages."),
        (
            "Object.defineProperty(Notification, 'permission', { get: () => 'denied' })",
            "Notices were refused for this page. To allow them, tap the sign beside the address",
        ),
    ],
    ids=["not-trusted", "home-screen", "no-push", "refused"],
)
def test_what_is_missing_is_said_in_plain_words(
    live: LiveShop, phone: Phone, script: str, words: str
) -> None:
    page = phone()
    page.add_init_script(script)
    page.goto(f"{live.address}/shop")
    expect(said(page)).to_contain_text(words)
    expect(page.locator("#told-phone button:visible")).to_have_count(0)
    expect(page.get_by_role("link", name="Set up this phone’s trust")).to_be_visible(
        visible="isSecureContext" in script
    )


def test_permission_is_asked_for_only_when_the_button_is_pressed(
    live: LiveShop, phone: Phone, push_service: PushService
) -> None:
    page = phone()
    with_stand_in(page, push_service, permission="default")
    page.add_init_script(
        "window.askedFor = 0; const before = Notification.requestPermission;"
        "Notification.requestPermission = () => { window.askedFor += 1; return before(); };"
    )
    page.goto(f"{live.address}/shop")
    expect(said(page)).to_have_text("This phone is not told.")
    assert page.evaluate("window.askedFor") == 0
    page.get_by_role("button", name="Tell this phone").tap()
    expect(said(page)).to_contain_text("Notices are not allowed yet")
    assert page.evaluate("window.askedFor") == 1
    assert subscriptions.subscriptions(live.shop.engine) == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_part_can_be_read_and_touched(
    live: LiveShop, phone: Phone, push_service: PushService, dark: bool
) -> None:
    page = phone(dark=dark)
    with_stand_in(page, push_service)
    page.set_viewport_size({"width": 360, "height": 844})
    page.goto(f"{live.address}/shop")
    page.get_by_role("button", name="Tell this phone").tap()
    expect(said(page)).to_have_text("This phone is told of what is due.")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    heights = page.eval_on_selector_all("#told-phone button", "all => all.map(one => one.offsetHeight)")
    assert [height for height in heights if 0 < height < 48] == []
    assert len([height for height in heights if height]) == 2
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        page.set_viewport_size({"width": 390, "height": 844})
        page.locator("#phone").scroll_into_view_if_needed()
        page.screenshot(path=Path(folder) / f"told-phone-390-{'dark' if dark else 'light'}.png")
