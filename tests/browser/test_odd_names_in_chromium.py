"""Names of every sort on a phone of 360 px: none runs out of the page, none is taken for HTML."""

import pytest
from playwright.sync_api import expect

from server.store import places as place_store
from server.store.values import Place
from tests.browser.conftest import LiveShop, Phone
from tests.service.test_odd_input import ODD

pytestmark = pytest.mark.browser

TOO_WIDE = """() => document.documentElement.scrollWidth <= innerWidth ? [] :
  [...document.querySelectorAll("main :not(svg *)")]
    .filter((one) => one.getBoundingClientRect().right > innerWidth)
    .map((one) => one.outerHTML.slice(0, 80))"""


def test_odd_names_stay_within_the_page_and_are_words(live: LiveShop, phone: Phone) -> None:
    page, shop = phone(), live.shop
    page.set_viewport_size({"width": 360, "height": 844})
    place_store.add_place(shop.engine, Place("odd", "W" * 60, 0.4))
    trees = [
        shop.hang(name, name[:30], 2, "drying", (("joint:30", name),), "odd", remaining=0.4) for name in ODD
    ]
    tree = trees[-1].id
    paths = ["/", "/next", "/wall", "/tags", f"/T/{tree}", "/trees/new", "/together", "/air"]
    paths += [
        f"/trees/{tree}{more}" for more in ("", "/spots", "/change", "/notes", "/measure", "/burnout-check")
    ]
    wide = {}
    for path in paths:
        page.goto(f"{live.address}{path}")
        wide[path] = page.evaluate(TOO_WIDE)
    assert {path: found for path, found in wide.items() if found} == {}
    page.goto(f"{live.address}/")
    for name in ODD:
        expect(page.locator(".row .label", has_text=name).first).to_be_visible()
    assert page.locator("main b, main script").count() == 0
