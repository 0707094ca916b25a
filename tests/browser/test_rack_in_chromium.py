"""The rack of one, of eight and of forty trees, a round of dips, and the wall, in Chromium."""

import os
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from sensors.clock import MINUTE_MS
from server.store import dips as dip_store
from server.store import trees as tree_store
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import tree_of
from tests.service.test_pages_rack import fill

pytestmark = pytest.mark.browser


def picture(page: Page, name: str, full: bool = True) -> None:
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=full)


def clear(live: LiveShop) -> None:
    for tree in tree_store.rack(live.shop.engine):
        tree_store.take_off(live.shop.engine, tree.id, "scrapped", 0, "Ada", "to begin anew")
        live.shop.rack.verdicts.pop(tree.id, None)


@pytest.mark.parametrize("count", [0, 1, 40])
def test_the_rack_is_read_at_a_glance(live: LiveShop, phone: Phone, count: int) -> None:
    clear(live)
    fill(live.shop, count)
    for dark in (False, True):
        page = phone(dark=dark)
        page.goto(live.address)
        picture(page, f"rack-of-{count}-{'dark' if dark else 'light'}")
        picture(page, f"rack-of-{count}-first-{'dark' if dark else 'light'}", full=False)
        if count:
            box = page.locator(".next .state").bounding_box()
            assert box is not None
            assert box["y"] + box["height"] < 844, "what is next is seen without scrolling"
    if count == 40:
        page.get_by_role("link", name="Drying (20)").tap()
        expect(page.get_by_role("heading", name="Drying (20)")).to_be_in_viewport()
        heights = page.locator(".row").evaluate_all("rows => rows.map(row => row.offsetHeight)")
        assert min(heights) >= 48
        page.set_viewport_size({"width": 1280, "height": 844})
        picture(page, "rack-of-40-wide")
        page.get_by_role("link", name="Cellar", exact=True).tap()
        expect(page.locator(".next")).to_contain_text("Bird")
        assert page.url.endswith("/?place=cellar")


def test_a_round_is_said_with_one_hold_and_undone_with_one(live: LiveShop, phone: Phone) -> None:
    page = phone()
    names = ("Heron", "Bittern", "Dunlin")
    before = {name: len(dip_store.dips(live.shop.engine, tree_of(live, name).id)) for name in names}

    def since() -> list[int]:
        return [
            len(dip_store.dips(live.shop.engine, tree_of(live, name).id)) - before[name] for name in names
        ]

    def hold(words: str, then: str) -> None:
        box = page.get_by_role("button", name=words).bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + 40, box["y"] + 20)
        page.mouse.down()
        expect(page.get_by_role("heading", name=then)).to_be_visible()
        page.mouse.up()

    page.goto(live.address)
    page.get_by_role("link", name="Just dipped several").tap()
    picture(page, "together")
    for name in names:
        page.get_by_label(name).check()
    page.get_by_role("button", name="Dipped: those I ticked").tap()
    assert since() == [0, 0, 0], "a droplet presses nothing"
    hold("Dipped: those I ticked", "One of them is in doubt")
    picture(page, "together-asked")
    assert since() == [1, 0, 1]
    page.get_by_label("Bittern").check()
    hold("Those I ticked went on", "3 dips written down")
    picture(page, "together-said")
    assert since() == [1, 1, 1]
    hold("Undo all three", "0 dips written down")
    assert since() == [0, 0, 0]


def test_a_round_waits_without_a_connection(live: LiveShop, phone: Phone) -> None:
    page, said = phone(), live.shop.clock.now()
    heron, dunlin = tree_of(live, "Heron"), tree_of(live, "Dunlin")
    page.goto(f"{live.address}/together")
    for name in ("Heron", "Dunlin"):
        page.get_by_label(name).check()
    page.get_by_label("The stucco was on").select_option("15")
    live.stop()
    page.get_by_role("button", name="Dipped: those I ticked").press("Enter", delay=900)
    expect(page.get_by_role("heading", name="Waiting to be sent (2)")).to_be_visible()
    picture(page, "together-waiting")
    live.start()
    expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
    for tree, coats in ((heron, 5), (dunlin, 1)):
        dips = dip_store.dips(live.shop.engine, tree.id)
        assert len(dips) == coats
        assert abs(dips[-1].at - (said - 15 * MINUTE_MS)) < MINUTE_MS


OUTSIDE = """() => {
  const wide = innerWidth + 0.5, high = innerHeight + 0.5;
  return [...document.querySelectorAll("#wall p, #wall h1, #wall .picture svg")]
    .map(one => [one, one.getBoundingClientRect(), one.closest(".tree")?.getBoundingClientRect()])
    .filter(([one, box, tree]) => one.textContent.trim() && (box.right > wide || box.bottom > high
      || (tree && box.bottom > tree.bottom + 1)))
    .map(([one, box]) => `${one.className.baseVal ?? one.className} ${one.textContent.trim().slice(0, 30)}`);
}"""


@pytest.mark.parametrize("count", [0, 1, 2, 40])
def test_the_wall_never_scrolls_and_is_large(live: LiveShop, phone: Phone, count: int) -> None:
    clear(live)
    fill(live.shop, count)
    page = phone()
    for width, height in ((1024, 600), (1280, 800), (768, 1024)):
        page.set_viewport_size({"width": width, "height": height})
        page.goto(f"{live.address}/wall")
        picture(page, f"wall-of-{count}-{width}x{height}", full=False)
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert page.evaluate(OUTSIDE) == [], (width, height)
        if count:
            high = page.locator(".tree .state").first.evaluate(
                "one => parseFloat(getComputedStyle(one).fontSize)"
            )
            assert high >= 0.05 * min(width, height), "a twentieth of the screen at least"


def test_the_wall_refreshes_itself_and_says_when_it_cannot(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.clock.install()
    page.goto(f"{live.address}/wall")
    expect(page.locator(".tree").first).to_contain_text("Heron")
    live.shop.judge(tree_of(live, "Heron"), "unsure", remaining=0.3)
    with page.expect_response("**/wall"):
        page.clock.run_for(15_500)
    expect(page.locator(".tree").first).to_contain_text("Bittern")
    live.stop()
    page.clock.run_for(16_000)
    expect(page.locator("#away")).to_contain_text("Not connected since")
    assert page.locator("#away").evaluate("one => one.scrollHeight <= one.clientHeight")
    picture(page, "wall-away", full=False)
    live.start()
    page.clock.run_for(16_000)
    expect(page.locator("#away")).to_be_hidden()


def test_the_wall_says_all_without_script_at_night(live: LiveShop, phone: Phone) -> None:
    live.shop.clock.time += 9 * 3_600_000
    page = phone(script=False)
    page.set_viewport_size({"width": 1024, "height": 600})
    page.goto(f"{live.address}/wall")
    picture(page, "wall-night", full=False)
    expect(page.locator("body.night .tree")).to_have_count(3)
    assert page.locator("noscript meta[content='20']").count() == 1
