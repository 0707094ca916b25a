"""Hanging a tree in gloves: by taps on pictures, by the dial, by the phone held along the vent, without script."""

import math
import os
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.values import Tree
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import SMALL_TARGETS, WEAK_CONTRAST

pytestmark = pytest.mark.browser


def newest(live: LiveShop) -> Tree:
    return tree_store.rack(live.shop.engine)[-1]


def picture(page: Page, name: str) -> None:
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_form_with_all_its_editors_fits_a_phone(live: LiveShop, phone: Phone, dark: bool) -> None:
    page = phone(dark=dark)
    page.set_viewport_size({"width": 360, "height": 780})
    page.goto(f"{live.address}/trees/new")
    for name in ("Tight", "Pocket", "Hollow"):
        page.locator(".additions button", has_text=name).tap()
        if name == "Tight":
            expect(page.locator(".hint")).to_contain_text("as long as the flat face", timeout=30_000)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, name
        assert page.evaluate(SMALL_TARGETS) == [], name
        assert page.evaluate(WEAK_CONTRAST) == [], name
        picture(page, f"new-tree-{name.lower()}-{'dark' if dark else 'light'}")
