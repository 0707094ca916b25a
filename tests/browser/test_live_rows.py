"""Open pages are told of changes: what is said on one phone shows on another at once, and nobody asks again
and again."""

import re
import threading

import pytest
from playwright.sync_api import Page, Request, expect

from sensors.clock import MINUTE_MS
from server.changes import AIR
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import count, press, tree_of

pytestmark = pytest.mark.browser

SOON_MS = 2000
"""Within so long a dip that was said elsewhere shows [ms]."""


@pytest.fixture
def telling(live: LiveShop) -> LiveShop:
    """A shop whose rack says its pictures to the pages, as the real one does."""
    shop = live.shop

    def judged(tree_id: int) -> None:
        shop.clock.time += 1000
        shop.judge(trees[tree_id], "drying", remaining=1.0)
        shop.parts.changes.shown(shop.rack.verdicts)

    trees = {tree.id: tree for tree in (tree_of(live, name) for name in ("Heron", "Bittern"))}
    shop.rack.on_refresh = judged
    shop.parts.changes.shown(shop.rack.verdicts)
    shop.clock.time += MINUTE_MS
    return live


KEEP_STREAM = """
window.kept = {};
window.EventSource = class extends EventSource {
  constructor(...given) { super(...given); window.kept = this; }
};
"""
"""Keeps the page's stream of changes where a trial can look at it."""


class Asked:
    """Counts how often a page asked for itself after it was opened, and for its stream."""

    def __init__(self, page: Page, path: str) -> None:
        self.pages, self.streams = 0, 0
        self._path = path
        page.on("request", self._note)

    def _note(self, request: Request) -> None:
        if request.resource_type == "fetch" and request.url.endswith(self._path):
            self.pages += 1
        if "/events" in request.url:
            self.streams += 1


def open_told(page: Page, live: LiveShop, path: str, viewers: int) -> Asked:
    """Open a page and wait until it is told of changes."""
    asked = Asked(page, path)
    page.add_init_script(KEEP_STREAM)
    page.goto(live.address + path)
    page.wait_for_function("() => document.querySelector('main') !== null")

    def told() -> bool:
        # The service counts a viewer a moment before the page knows that its stream is open.
        return live.shop.parts.changes.viewers() == viewers and page.evaluate("kept.readyState") == 1

    for _ in range(500):
        if told():
            break
        page.wait_for_timeout(20)
    assert told()
    return asked


def test_a_dip_said_on_one_phone_shows_on_another(telling: LiveShop, phone: Phone) -> None:
    heron = tree_of(telling, "Heron")
    one, rack, tree = phone(), phone(), phone()
    open_told(one, telling, f"/trees/{heron.id}", 1)
    of_rack = open_told(rack, telling, "/", 2)
    of_tree = open_told(tree, telling, f"/trees/{heron.id}", 3)
    expect(rack.locator(".next")).to_contain_text("Heron")
    press(one, 650)
    expect(one.get_by_text("Undo coat 5")).to_be_visible()
    expect(rack.locator("main")).to_contain_text("coat 5 of 10", timeout=SOON_MS)
    expect(tree.get_by_text("Undo coat 5")).to_be_visible(timeout=SOON_MS)
    assert count(telling, heron) == 5
    assert (of_rack.pages, of_rack.streams) == (1, 1)
    assert (of_tree.pages, of_tree.streams) == (1, 1)


def test_a_page_that_is_told_asks_for_nothing(telling: LiveShop, phone: Phone) -> None:
    page = phone()
    page.clock.install()
    asked = open_told(page, telling, "/", 1)
    seconds = 0
    while not asked.pages and seconds < 80:
        page.clock.run_for(5000)
        page.wait_for_timeout(30)  # what a step begins is done in real time
        seconds += 5
    assert seconds >= 50
    assert asked.pages == 1


def test_nothing_changes_under_a_persons_hands(telling: LiveShop, phone: Phone) -> None:
    heron = tree_of(telling, "Heron")
    page = phone()
    open_told(page, telling, f"/trees/{heron.id}", 1)
    page.get_by_text("Say more of this dip").click()
    telling.shop.rack.refresh(heron.id)
    page.wait_for_timeout(1500)
    expect(page.locator(".standing")).to_contain_text("Fit to dip")
    page.get_by_text("Say more of this dip").click()
    expect(page.locator(".standing")).to_contain_text("Drying")


def test_the_air_page_is_told_of_readings(telling: LiveShop, phone: Phone) -> None:
    page = phone()
    asked = open_told(page, telling, "/air", 1)
    with page.expect_request(lambda request: request.resource_type == "fetch"):
        telling.shop.clock.time += MINUTE_MS
        telling.shop.parts.changes.air_heard(telling.shop.clock.now())
    assert asked.pages == 1
    assert telling.shop.parts.changes.latest(AIR).at == telling.shop.clock.now()


def test_without_streams_the_page_looks_by_itself(telling: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_of(telling, "Heron")
    page.add_init_script("delete window.EventSource")
    page.goto(telling.address)
    telling.shop.rack.refresh(heron.id)
    expect(page.locator(".next")).not_to_contain_text("Fit to dip")
    assert telling.shop.parts.changes.viewers() == 0


def test_a_page_out_of_sight_is_told_nothing_and_catches_up(telling: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_of(telling, "Heron")
    open_told(page, telling, "/", 1)
    hide = """hidden => {
      Object.defineProperty(document, "visibilityState", { value: hidden, configurable: true });
      document.dispatchEvent(new Event("visibilitychange"));
    }"""
    left = threading.Event()
    forget = telling.shop.parts.changes.forget

    def noted(viewer: object) -> None:
        forget(viewer)  # type: ignore[arg-type]
        left.set()

    telling.shop.parts.changes.forget = noted  # type: ignore[method-assign]
    page.evaluate(hide, "hidden")
    assert left.wait(30)
    telling.shop.rack.refresh(heron.id)
    page.evaluate(hide, "visible")
    expect(page.locator(".next")).not_to_contain_text("Fit to dip", timeout=SOON_MS)


def test_the_stream_comes_back_with_the_service(telling: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_of(telling, "Heron")
    open_told(page, telling, "/", 1)
    telling.stop()
    expect(page.locator("#link")).to_have_text(re.compile("Not connected since"))
    telling.shop.judge(heron, "drying", remaining=1.0)
    telling.shop.clock.time += MINUTE_MS
    telling.shop.parts.changes.shown(telling.shop.rack.verdicts)
    telling.start()
    expect(page.locator("#link")).to_be_hidden(timeout=15_000)
    expect(page.locator(".next")).not_to_contain_text("Fit to dip")
