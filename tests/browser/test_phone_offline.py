"""The phone without a connection: the last known pages with their age, and dips that wait."""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from sensors.clock import HOUR_MS, MINUTE_MS
from server.store import dips as dip_store
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import count, press, tree_of

pytestmark = pytest.mark.browser

KEEPS = """async path => {
  const cache = await caches.open("pages-1"), until = Date.now() + 30000;
  while ((await cache.match(path)) === undefined) {
    if (Date.now() > until) throw new Error(`${path} is not kept after 30 s`);
    await new Promise(done => setTimeout(done, 50));
  }
}"""
"""Waits until a page is kept. Not by `wait_for_function`: that takes a promise of "no" for a yes."""


def open_and_keep(live: LiveShop, page: Page, *paths: str) -> None:
    """Open the rack, and wait until the worker has kept it and those pages."""
    page.goto(live.address)
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    for path in ("/", *paths):
        page.evaluate(KEEPS, path)


NEXT_LOOK_MS = 40_000
"""The page looks for the service every 5 s, as long as an expectation usually waits [ms]."""


def grow_old(page: Page, milliseconds: int) -> None:
    """Have every kept page be that much older: what a phone's clock would do in a pocket."""
    page.evaluate(
        """async age => {
          const cache = await caches.open("pages-1");
          for (const request of await cache.keys()) {
            const kept = await cache.match(request), headers = new Headers(kept.headers);
            headers.set("X-Kept-At", String(Number(headers.get("X-Kept-At")) - age));
            await cache.put(request, new Response(await kept.text(), { headers }));
          }
        }""",
        milliseconds,
    )


def go_away(live: LiveShop, page: Page) -> None:
    """The service goes away, and the page has seen it: no answer is on its way any more to be kept late."""
    live.stop()
    expect(page.locator("#link")).to_be_visible(timeout=NEXT_LOOK_MS)


def test_the_phone_can_keep_it_as_a_program(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.goto(live.address)
    session = page.context.new_cdp_session(page)
    told = session.send("Page.getAppManifest")
    assert told["errors"] == []
    assert told["url"].endswith("/manifest.webmanifest")
    for path, size in (("/static/icon-192.png", 192), ("/static/icon-512.png", 512)):
        measured = page.evaluate(
            "async src => { const one = new Image(); one.src = src; await one.decode(); return one.width; }",
            path,
        )
        assert measured == size


def test_the_last_known_rack_is_shown_with_its_age(live: LiveShop, phone: Phone) -> None:
    page = phone()
    open_and_keep(live, page)
    go_away(live, page)
    grow_old(page, 40 * MINUTE_MS)
    page.reload()
    expect(page.locator(".next")).to_contain_text("Heron")
    expect(page.locator("#link")).to_contain_text("What you see is as it was about 40 min ago.")
    assert (
        page.evaluate("document.querySelector('.next').getBoundingClientRect().width") > 300
    )  # it has its styles
    live.start()
    expect(page.locator("#link")).to_be_hidden(timeout=NEXT_LOOK_MS)
    page.reload()
    expect(page.locator("#link")).to_be_hidden(timeout=NEXT_LOOK_MS)


def test_what_to_dip_next_is_kept_with_the_rack_and_says_its_age(live: LiveShop, phone: Phone) -> None:
    """Never opened before: it comes along with the rack. Once there is a connection it is shown anew."""
    page, heron = phone(dark=True), tree_of(live, "Heron")
    open_and_keep(live, page, "/next")
    go_away(live, page)
    grow_old(page, 40 * MINUTE_MS)
    page.goto(f"{live.address}/next")
    expect(page.get_by_role("heading", name="Next dips", exact=True)).to_be_visible()
    expect(page.locator(f'.dips a[href="/trees/{heron.id}"]')).to_be_visible()
    expect(page.locator("#link")).to_contain_text("What you see is as it was about 40 min ago.")
    assert page.evaluate("getComputedStyle(document.querySelector('.dips')).listStyleType") == "none"
    for width in (360, 390):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    if os.environ.get("SLOWCORNER_SCREENSHOTS"):
        page.screenshot(path=Path(os.environ["SLOWCORNER_SCREENSHOTS"]) / "offline-next-390-dark.png")
    live.start()
    expect(page.locator("main:not([data-kept-at]) .dips")).to_be_visible(timeout=NEXT_LOOK_MS)
    expect(page.locator("#link")).to_be_hidden()


def test_a_dip_said_offline_survives_a_reload_and_is_sent_with_its_own_time(
    live: LiveShop, phone: Phone
) -> None:
    page, heron = phone(), tree_of(live, "Heron")
    tree = f"/trees/{heron.id}"
    open_and_keep(live, page, tree)
    go_away(live, page)
    page.goto(live.address + tree)
    press(page, 650)
    expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible()
    expect(page.locator("#waiting")).to_contain_text("Heron · Dipped: coat 5")
    said = live.shop.clock.now()
    page.reload()
    expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible()
    assert count(live, heron) == 4
    live.shop.clock.time += 2 * HOUR_MS
    live.shop.rack.on_refresh = lambda _: live.shop.judge(heron, "drying", remaining=1.0)
    live.start()
    expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
    expect(page.get_by_text("Undo coat 5")).to_be_visible(timeout=15_000)
    dips = dip_store.dips(live.shop.engine, heron.id)
    assert len(dips) == 5
    assert abs(dips[-1].at - said) < MINUTE_MS
    page.reload()
    expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
    assert count(live, heron) == 5


def test_a_waiting_dip_can_be_taken_back(live: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_of(live, "Heron")
    page.goto(f"{live.address}/trees/{heron.id}")
    go_away(live, page)
    press(page, 650)
    page.get_by_role("button", name="Take it back").tap()
    expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
    live.start()
    expect(page.locator("#link")).to_be_hidden(timeout=NEXT_LOOK_MS)
    assert count(live, heron) == 4


def test_a_waiting_dip_that_is_doubted_is_asked_for(live: LiveShop, phone: Phone) -> None:
    page, bittern = phone(), tree_of(live, "Bittern")
    page.goto(f"{live.address}/trees/{bittern.id}")
    go_away(live, page)
    press(page, 650)
    expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible()
    live.start()
    expect(page.locator("#waiting")).to_contain_text("About a third is left at the vent joint: dip anyway?")
    assert count(live, bittern) == 3
    page.get_by_role("button", name="Yes, it went on").tap()
    expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
    assert count(live, bittern) == 4


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 390, 1280])
def test_offline_pages_can_be_read_by_all(live: LiveShop, phone: Phone, dark: bool, width: int) -> None:
    page, heron = phone(dark=dark), tree_of(live, "Heron")
    page.set_viewport_size({"width": width, "height": 844})
    tree = f"/trees/{heron.id}"
    open_and_keep(live, page, tree)
    go_away(live, page)
    grow_old(page, 40 * MINUTE_MS)
    page.goto(live.address + tree)
    press(page, 650)
    expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible()
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    for name, path in (("offline-tree", tree), ("offline-rack", "/")):
        page.goto(live.address + path)
        expect(page.locator("#link")).to_contain_text("about 40 min ago")
        expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert page.evaluate(
            "[...document.querySelectorAll('#waiting button')].every(one => one.offsetHeight >= 48)"
        )
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        if folder:
            page.screenshot(path=Path(folder) / f"{name}-{width}-{'dark' if dark else 'light'}.png")
