"""Tags in a real browser: opened, without a connection, and printed to the millimetre."""

import re

import pytest
from playwright.sync_api import expect

from server.store import dips as dip_store
from server.store import trees as tree_store
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_adding_in_chromium import look_at
from tests.browser.test_phone_offline import open_and_keep

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_tags_fit_a_phone(live: LiveShop, phone: Phone, dark: bool) -> None:
    page, heron = phone(dark=dark), tree_store.rack(live.shop.engine)[0]
    for name, path in (("tags", "/tags"), ("tag-tree", f"/T/{heron.id}"), ("tag-hook", "/H/Z9")):
        page.goto(f"{live.address}{path}")
        look_at(page, name, dark)


def test_a_tag_is_opened_and_its_button_held(live: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_store.rack(live.shop.engine)[0]
    page.goto(f"{live.address}/H/A1")
    expect(page.get_by_role("heading", name="Heron, coat 5 of 10?")).to_be_visible()
    assert len(dip_store.dips(live.shop.engine, heron.id)) == 4
    live.shop.rack.on_refresh = lambda _: live.shop.judge(heron, "drying", remaining=1.0)
    page.locator("button.hold").hover()
    page.mouse.down()
    expect(page.get_by_text("Undo coat 5")).to_be_visible()
    page.mouse.up()
    assert len(dip_store.dips(live.shop.engine, heron.id)) == 5


def test_a_tag_without_a_connection_opens_the_kept_page_of_its_tree(live: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_store.rack(live.shop.engine)[0]
    open_and_keep(live, page, f"/trees/{heron.id}")
    live.stop()
    page.goto(f"{live.address}/T/{heron.id}")
    expect(page.get_by_role("heading", name="Heron", exact=True)).to_be_visible()
    expect(page.get_by_role("button", name="Dipped: coat 5")).to_be_visible()
    page.goto(f"{live.address}/H/A1")
    expect(page.locator(".next")).to_contain_text("Heron")


def test_the_sheet_is_printed_in_millimetres_on_a4(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.set_viewport_size({"width": 718, "height": 1000})  # 190 mm, what A4 leaves between its margins
    page.emulate_media(media="print")
    for size in (25, 35, 50):
        page.goto(f"{live.address}/tags?address=http://foundry.local:8000&size={size}&more=C1-C40")
        boxes = page.evaluate(BOXES_MM)
        assert len(boxes) == 2 * 7 + 40
        sides = [side for box in boxes for side in box["code"]]
        assert sides == pytest.approx([size] * len(sides), abs=0.1)
        assert all(box["right"] <= 190.0 for box in boxes)
        assert all(box["letters"] >= 4.0 for box in boxes)
        assert page.locator("header").is_hidden()
        assert page.locator(".set-up").is_hidden()
        printed = page.pdf(prefer_css_page_size=True)
        sheets = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", printed)
        # A4 is 210 mm x 297 mm (ISO 216); a point is 1/72 in.
        paper = [(float(wide) / 72 * 25.4, float(high) / 72 * 25.4) for wide, high in sheets]
        assert paper
        assert all(one == pytest.approx((210.0, 297.0), abs=0.5) for one in paper)
        rows = len({round(box["top"]) for box in boxes})
        print(f"\n{size} mm: {len(boxes)} tags in {rows} rows on {len(paper)} sheets")


BOXES_MM = """() => [...document.querySelectorAll(".tag")].map((tag) => {
  const mm = (px) => px / 96 * 25.4, box = tag.getBoundingClientRect();
  const code = tag.querySelector("svg").getBoundingClientRect();
  return { code: [mm(code.width), mm(code.height)], right: mm(box.right), top: box.top,
    letters: mm(parseFloat(getComputedStyle(tag.querySelector("b")).fontSize)) };
})"""
