"""The page of a tree in a real browser: reading the chart, a photograph from the phone, moving, scrapping."""

import io
import os
import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Page, expect

from sensors.clock import HOUR_MS, MINUTE_MS
from server.note_desk import Noted, take_note
from server.store import measurements as measurement_store
from server.store import notes as note_store
from server.store import trees as tree_store
from server.store.values import NewMeasurement, Tree
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import SMALL_TARGETS, WEAK_CONTRAST, tree_of
from tests.service.fake_shop import NOON
from tests.service.test_pages_tree import spread_out

pytestmark = pytest.mark.browser

WIDTH, HEIGHT = 358.0, 200.0
"""The chart's own units: its width, and where 0 % lies."""


def photograph() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (1200, 900), (150, 130, 100)).save(out, "JPEG")
    return out.getvalue()


def measured(live: LiveShop, tree: Tree) -> None:
    spread_out(live.shop, tree)
    for kind, ago, more in (
        ("weighing", 150, {"value": 4.512}),
        ("surface_temp", 90, {"value": 16.2, "spot": "joint:30"}),
        ("touch", 40, {"word": "damp", "spot": "joint:30"}),
    ):
        at = NOON - ago * MINUTE_MS
        measurement_store.add_measurement(
            live.shop.engine,
            NewMeasurement(tree.id, kind, at, NOON, **more),  # type: ignore[arg-type]
        )


def touch(page: Page, x: float, y: float = 100.0) -> None:
    """Touch the chart at a place in its own units."""
    chart = page.locator("svg[data-read]")
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    assert box
    scale = box["width"] / WIDTH
    page.touchscreen.tap(box["x"] + x * scale, box["y"] + y * scale)


def test_the_chart_is_read_by_touch_and_by_keys_and_is_left_alone_meanwhile(
    live: LiveShop, phone: Phone
) -> None:
    bittern = tree_of(live, "Bittern")
    measured(live, bittern)
    live.shop.parts.changes.shown(live.shop.rack.verdicts)
    page = phone()
    page.goto(f"{live.address}/trees/{bittern.id}")
    told = page.locator(".told")
    expect(told).to_have_text("")
    touch(page, 100.0)
    expect(told).to_contain_text(re.compile(r"^Mon \d\d:\d\d · vent joint \d+ % \(\d+ % to \d+ %\) · body"))
    line = page.evaluate("document.querySelector('.reader').transform.baseVal.getItem(0).matrix.e")
    assert abs(line - 100.0) < 2.0  # within half a step between two of the 80 places
    before = told.text_content()
    slider = page.get_by_role("slider")
    expect(slider).to_be_focused()
    page.keyboard.press("ArrowRight")
    expect(told).not_to_have_text(before or "")
    assert slider.get_attribute("aria-valuetext") == told.text_content()
    page.keyboard.press("End")
    expect(told).to_contain_text("expected")
    kept = told.text_content()
    live.shop.judge(bittern, "unsure", remaining=0.3)
    live.shop.parts.changes.shown(live.shop.rack.verdicts)
    page.evaluate("new Promise(done => setTimeout(done, 1500))")
    expect(told).to_have_text(kept or "")
    slider.blur()
    expect(page.locator(".standing")).to_contain_text("Unsure")
    # After the page was shown anew it can be read as before.
    touch(page, 60.0)
    expect(page.locator(".told")).to_contain_text("vent joint")


def test_another_spot_and_all_coats_are_a_tap_away(live: LiveShop, phone: Phone) -> None:
    bittern = tree_of(live, "Bittern")
    measured(live, bittern)
    page = phone()
    page.goto(f"{live.address}/trees/{bittern.id}")
    page.get_by_role("link", name="body", exact=True).tap()
    expect(page.get_by_role("heading", name="How it dries: Body, this coat")).to_be_in_viewport()
    page.get_by_role("link", name="All coats").tap()
    expect(page.get_by_role("heading", name="How it dries: Body, all coats")).to_be_in_viewport()
    touch(page, 60.0)
    expect(page.locator(".told")).to_contain_text("body")
    expect(page.locator(".told")).not_to_contain_text("vent joint")


def test_a_photograph_goes_in_is_seen_and_is_taken_back_without_script(live: LiveShop, phone: Phone) -> None:
    bittern = tree_of(live, "Bittern")
    page = phone(script=False)
    page.goto(f"{live.address}/trees/{bittern.id}")
    page.get_by_role("link", name="Note or photograph").tap()
    page.get_by_label("Note, up to").fill("crack at the cup")
    page.get_by_label("Take a photograph").set_input_files(
        {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": photograph()}
    )
    page.get_by_role("button", name="Keep it").tap()
    expect(page.get_by_text("crack at the cup")).to_be_visible()
    expect(page.get_by_role("img", name="Photograph of Bittern")).to_be_visible()
    page.get_by_role("link", name="Back to Bittern").tap()
    page.get_by_role("img", name="Photograph of Bittern").scroll_into_view_if_needed()
    whole = page.get_by_role("link", name="Photograph of Bittern").get_attribute("href")
    assert whole
    assert page.request.get(f"{live.address}{whole}").headers["content-type"] == "image/jpeg"
    page.get_by_role("link", name="Take back").tap()
    page.get_by_role("button", name="Take the photograph back").tap()
    expect(page.get_by_text("crack at the cup")).to_have_count(0)
    [note] = note_store.notes(live.shop.engine, bittern.id)
    assert note.undone_at is not None
    page.get_by_label("Or choose one").set_input_files(
        {"name": "drawing.svg", "mimeType": "image/svg+xml", "buffer": b"<svg/>"}
    )
    page.get_by_role("button", name="Keep it").tap()
    expect(page.get_by_role("alert")).to_contain_text("a drawing (SVG)")


def test_a_tree_is_moved_scrapped_and_hung_again(live: LiveShop, phone: Phone) -> None:
    bittern = tree_of(live, "Bittern")
    page = phone()
    page.goto(f"{live.address}/trees/{bittern.id}")
    page.get_by_role("link", name="Move, rename, recipe, scrap").tap()
    page.get_by_label("Hook").fill("A1")
    page.get_by_role("button", name="Keep it so").tap()
    expect(page.get_by_role("alert")).to_contain_text("Hook A1 is taken: Heron hangs there.")
    page.get_by_label("Hook").fill("C1")
    page.get_by_label("Place").select_option("cellar")
    page.get_by_role("button", name="Keep it so").tap()
    page.wait_for_url(f"**/trees/{bittern.id}")
    moved = tree_store.tree(live.shop.engine, bittern.id)
    assert moved is not None
    assert (moved.hook, moved.place) == ("C1", "cellar")
    expect(page.get_by_text("hook C1 · Cellar")).to_be_visible()
    page.get_by_role("link", name="Move, rename, recipe, scrap").tap()
    page.get_by_role("link", name="Scrap Bittern").tap()
    page.get_by_label("Why").fill("cracked")
    page.get_by_role("button", name="Scrap Bittern").tap()
    expect(page.get_by_text("Scrapped 14:00: cracked.")).to_be_visible()
    page.get_by_role("link", name="Trees that left the rack").tap()
    page.get_by_role("link", name="Bittern").tap()
    page.get_by_role("button", name="Hang it on the rack again").tap()
    expect(page.get_by_role("link", name="Move, rename, recipe, scrap")).to_be_visible()


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_pages_of_a_tree_fit_phones_and_screens(live: LiveShop, phone: Phone, dark: bool) -> None:
    bittern, folder = tree_of(live, "Bittern"), os.environ.get("SLOWCORNER_SCREENSHOTS")
    measured(live, bittern)
    take_note(live.shop.parts, bittern.id, Noted("Crack at the cup.\nPatched.", photograph()))
    dunlin = tree_of(live, "Dunlin")
    tree_store.take_off(live.shop.engine, dunlin.id, "scrapped", NOON - HOUR_MS, "Ada", "broken at the gate")
    here = f"/trees/{bittern.id}"
    paths = {
        "tree-chart": here,
        "tree-all-coats": f"{here}?spot=joint:30&coats=all",
        "notes": f"{here}/notes",
        "change-tree": f"{here}/change",
        "scrap": f"{here}/scrap",
        "left": "/trees/left",
        "scrapped": f"/trees/{dunlin.id}",
        "undo-note": f"{here}/notes/1/undo",
    }
    page, axe = phone(dark), Axe()
    for name, path in paths.items():
        page.set_viewport_size({"width": 390, "height": 844})
        page.goto(f"{live.address}{path}")
        if page.locator("svg[data-read]").count():
            touch(page, 120.0)
        for picture in page.locator("img").all():
            picture.scroll_into_view_if_needed()
            expect(picture).to_have_js_property("complete", True)
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            page.screenshot(path=Path(folder) / f"{name}-{'dark' if dark else 'light'}.png", full_page=True)
        page.evaluate("for (const folded of document.querySelectorAll('details')) folded.open = true")
        assert page.evaluate(SMALL_TARGETS) == [], name
        assert page.evaluate(WEAK_CONTRAST) == [], name
        if not dark:
            violations = axe.run(page).response["violations"]
            assert [(one["id"], one["nodes"][0]["html"]) for one in violations] == [], name
        for width in (360, 390, 1280):
            page.set_viewport_size({"width": width, "height": 844})
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (name, width)
