"""What would save time, the warnings of the moment and their settings, as a phone shows them."""

import os
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from server.shop_rules import shop_rules
from server.store import trees as tree_store
from tests.browser.conftest import LiveShop, Phone
from tests.service.test_what_if import FOUND

pytestmark = pytest.mark.browser

WARNINGS = (
    "If tonight’s air goes as last night’s did, the wax warms by about 8 K inside a coat that has set "
    "(limit 5 K): keep the room’s temperature even.",
    "Next to no air gets into the belly through its mouth: blow air in, gently on a prime coat, and add "
    "“,blown” to its code.",
)


def keep_picture(page: Page, name: str) -> None:
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)


def fits(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


@pytest.mark.parametrize("dark", [False, True])
def test_a_tree_s_page_works_out_what_would_save_time(live: LiveShop, phone: Phone, dark: bool) -> None:
    shop = live.shop
    spots = (("cavity:60x0.2", "belly"), ("face", "back"), ("joint:60", "gate joint"))
    tree = shop.hang("Shoveler", "C1", 3, "drying", spots, remaining=0.6)
    shop.rack.what_ifs[tree.id] = FOUND
    shop.rack.verdicts[tree.id] = replace(shop.rack.verdicts[tree.id], warnings=WARNINGS)
    page = phone(dark=dark)
    page.goto(f"{live.address}/trees/{tree.id}")
    page.get_by_role("link", name="Work out what would save time").tap()
    expect(page.get_by_role("row", name="a fan, 1.5 m/s at the tree saves 1-3 h")).to_be_visible()
    expect(page.get_by_text("carbon monoxide")).to_be_visible()
    expect(page.get_by_text(WARNINGS[0])).to_be_visible()
    assert fits(page)
    keep_picture(page, f"what-if-{'dark' if dark else 'light'}")


@pytest.mark.parametrize("dark", [False, True])
def test_the_shop_says_when_to_warn(live: LiveShop, phone: Phone, dark: bool) -> None:
    page = phone(dark=dark)
    page.goto(f"{live.address}/shop/settings")
    page.get_by_label("The shop closes at").fill("17:15")
    page.get_by_label("Wax that warms").fill("4")
    assert fits(page)
    keep_picture(page, f"settings-{'dark' if dark else 'light'}")
    page.get_by_role("button", name="Set all of this").tap()
    expect(page.get_by_label("Wax that warms")).to_have_value("4")
    rules = shop_rules(live.shop.engine)
    assert (f"{rules.closes:%H:%M}", rules.limits.warming_k) == ("17:15", 4.0)
    assert tree_store.rack(live.shop.engine)
