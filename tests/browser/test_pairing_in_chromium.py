"""Pairing, devices and setting up a phone, as a phone shows them."""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from server.access import Access
from server.web import web_app
from tests.browser import conftest
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import tree_of

pytestmark = pytest.mark.browser


def looked_at(page: Page, name: str) -> None:
    """Nothing wider than the phone, nothing that axe complains of; the picture is kept where asked."""
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)


@pytest.fixture
def guarded(live: LiveShop, monkeypatch: pytest.MonkeyPatch) -> tuple[LiveShop, Access]:
    """The shop, with everyone to be paired."""
    access = Access(live.shop.engine, live.shop.parts.wall_clock, never_open=True)
    monkeypatch.setattr(conftest, "web_app", lambda parts: web_app(parts, access=access))
    live.stop()
    live.start()
    return live, access


@pytest.mark.parametrize("dark", [False, True])
def test_a_phone_is_paired_and_lets_another_one_in(
    guarded: tuple[LiveShop, Access], phone: Phone, dark: bool
) -> None:
    live, access = guarded
    look = "dark" if dark else "light"
    page = phone(dark=dark)
    page.goto(live.address)
    expect(page).to_have_url(f"{live.address}/pair")
    looked_at(page, f"pair-{look}")
    page.get_by_label("Code").fill(access.new_code("acts").lower())
    page.get_by_label("This device’s name").fill("Apron phone")
    page.get_by_role("button", name="Pair").tap()
    expect(page.get_by_text("Heron").first).to_be_visible()

    page.goto(f"{live.address}/shop/devices")
    expect(page.get_by_text("(this one)")).to_be_visible()
    page.get_by_label("It only looks").check()
    page.get_by_role("button", name="Make a code").tap()
    expect(page.get_by_role("img", name="The address of the pairing page")).to_be_visible()
    looked_at(page, f"devices-{look}")

    wall = phone(dark=dark)
    code = page.locator("p.now").inner_text()
    # It opened a tag: once it is paired, the tag's question is what it lands on.
    wall.goto(f"{live.address}/T/{tree_of(live, 'Heron').id}")
    expect(wall.get_by_text("Then the page that you were going to opens.")).to_be_visible()
    wall.get_by_label("Code").fill(code)
    looked_at(wall, f"pair-on-the-way-{look}")
    wall.get_by_role("button", name="Pair").tap()
    expect(wall.get_by_role("heading", name="Heron, coat 5 of 10?")).to_be_visible()


@pytest.mark.parametrize("dark", [False, True])
def test_a_phone_is_told_what_notices_need(
    guarded: tuple[LiveShop, Access], phone: Phone, dark: bool
) -> None:
    page = phone(dark=dark)
    page.goto(f"{guarded[0].address}/phone")
    expect(page.get_by_text("Yes: The connection is trusted.")).to_be_visible()
    looked_at(page, f"phone-{'dark' if dark else 'light'}")
