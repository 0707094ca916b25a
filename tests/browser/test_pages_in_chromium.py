"""The pages in a real browser: holding, undo, a service that goes away, counting on, and no script at all."""

import os
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS
from server.pages.wording import around_words, duration_words
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.values import Tree
from tests.browser.conftest import LiveShop, Phone

pytestmark = pytest.mark.browser


def tree_of(live: LiveShop, label: str) -> Tree:
    return next(tree for tree in tree_store.rack(live.shop.engine) if tree.label == label)


def count(live: LiveShop, tree: Tree) -> int:
    return len(dip_store.dips(live.shop.engine, tree.id))


def press(page: Page, milliseconds: int) -> None:
    """Hold the big button for that long, as measured by the page's own clock."""
    page.locator("button.hold").hover()
    page.mouse.down()
    page.wait_for_function(
        "([start, span]) => performance.now() - start >= span",
        arg=[page.evaluate("performance.now()"), milliseconds],
    )
    page.mouse.up()


def test_holding_the_button_writes_the_dip_down(live: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_of(live, "Heron")
    page.goto(f"{live.address}/trees/{heron.id}")
    live.shop.rack.on_refresh = lambda _: live.shop.judge(heron, "drying", remaining=1.0)
    page.locator("button.hold").hover()
    page.mouse.down()
    expect(page.locator("button.hold")).to_have_class(re.compile("holding|done"))
    expect(page.get_by_text("Undo coat 5")).to_be_visible()
    page.mouse.up()
    assert count(live, heron) == 5


def test_a_short_press_does_nothing(live: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_of(live, "Heron")
    page.goto(f"{live.address}/trees/{heron.id}")
    press(page, 200)
    expect(page.locator("button.hold")).not_to_have_class(re.compile("holding|done"))
    page.evaluate("new Promise(done => setTimeout(done, 700))")
    assert page.url.endswith(f"/trees/{heron.id}")
    assert count(live, heron) == 4


def test_a_drop_that_slides_off_does_nothing(live: LiveShop, phone: Phone) -> None:
    page, heron = phone(), tree_of(live, "Heron")
    page.goto(f"{live.address}/trees/{heron.id}")
    page.locator("button.hold").hover()
    page.mouse.down()
    page.mouse.move(5, 5)
    expect(page.locator("button.hold")).not_to_have_class(re.compile("holding"))
    page.evaluate("new Promise(done => setTimeout(done, 700))")
    page.mouse.up()
    assert count(live, heron) == 4


@pytest.mark.parametrize("key", ["Enter", " "])
def test_a_key_is_held_like_a_finger(live: LiveShop, phone: Phone, key: str) -> None:
    page, heron = phone(), tree_of(live, "Heron")
    page.goto(f"{live.address}/trees/{heron.id}")
    page.locator("button.hold").focus()
    page.keyboard.press(key)
    page.evaluate("new Promise(done => setTimeout(done, 700))")
    assert count(live, heron) == 4
    live.shop.rack.on_refresh = lambda _: live.shop.judge(heron, "drying", remaining=1.0)
    page.keyboard.down(key)
    expect(page.get_by_text("Undo coat 5")).to_be_visible()
    page.keyboard.up(key)
    assert count(live, heron) == 5


def test_the_question_is_held_to_answer_yes(live: LiveShop, phone: Phone) -> None:
    page, bittern = phone(), tree_of(live, "Bittern")
    page.goto(f"{live.address}/trees/{bittern.id}")
    press(page, 650)
    expect(
        page.get_by_role("heading", name="About a third is left at the vent joint: dip anyway?")
    ).to_be_visible()
    assert count(live, bittern) == 3
    press(page, 650)
    expect(page.get_by_text("Undo coat 4")).to_be_visible()
    assert count(live, bittern) == 4


def test_undo_takes_the_dip_back(live: LiveShop, phone: Phone) -> None:
    page, bittern = phone(), tree_of(live, "Bittern")
    page.goto(f"{live.address}/trees/{bittern.id}")
    page.get_by_role("link", name="Undo coat 3").tap()
    page.get_by_role("button", name="Undo coat 3").tap()
    expect(page.get_by_role("link", name="Undo coat 2")).to_be_visible()
    assert count(live, bittern) == 2


def test_everything_works_without_script(live: LiveShop, phone: Phone) -> None:
    page, bittern = phone(script=False), tree_of(live, "Bittern")
    page.goto(live.address)
    page.get_by_role("link", name="Bittern").tap()
    expect(page.get_by_text("Hold the button until it is full.")).to_be_hidden()
    page.get_by_role("button", name="Dipped: coat 4").tap()
    page.get_by_role("button", name="Yes, coat 4 went on").tap()
    expect(page.get_by_role("link", name="Undo coat 4")).to_be_visible()
    assert count(live, bittern) == 4
    page.get_by_role("link", name="Undo coat 4").tap()
    page.get_by_role("button", name="Undo coat 4").tap()
    expect(page.get_by_role("link", name="Undo coat 3")).to_be_visible()
    assert count(live, bittern) == 3
    page.get_by_role("link", name="Air").tap()
    expect(page.get_by_role("heading", name="Drying room")).to_be_visible()
    page.get_by_role("link", name="Shop").tap()
    expect(page.get_by_text("no safety device")).to_be_visible()


def test_the_rack_refreshes_itself_and_keeps_its_place(live: LiveShop, phone: Phone) -> None:
    live.shop.clock.rate = 300.0
    page, bittern = phone(), tree_of(live, "Bittern")
    page.goto(live.address)
    page.evaluate("scrollTo(0, 200)")
    now = live.shop.clock.now()
    live.shop.judge(bittern, "fit", Quantiles(now, now, now), 0.03)
    expect(page.locator(".row", has_text="Bittern")).to_contain_text("Fit to dip")
    assert page.evaluate("scrollY") == 200


def test_a_page_is_left_alone_while_someone_is_in_the_middle_of_something(
    live: LiveShop, phone: Phone
) -> None:
    live.shop.clock.rate = 300.0
    page, heron = phone(), tree_of(live, "Heron")
    page.goto(f"{live.address}/trees/{heron.id}")
    page.get_by_text("Say more of this dip").tap()
    page.get_by_label("Note").fill("thin")
    live.shop.judge(heron, "unsure", remaining=0.3)
    page.evaluate("new Promise(done => setTimeout(done, 3000))")
    expect(page.get_by_label("Note")).to_have_value("thin")
    page.get_by_text("Say more of this dip").tap()
    expect(page.locator(".standing")).to_contain_text("Unsure")


def test_a_service_that_goes_away_is_told_and_what_was_seen_stays(live: LiveShop, phone: Phone) -> None:
    live.shop.clock.rate = 300.0
    page, heron = phone(), tree_of(live, "Heron")
    page.goto(f"{live.address}/trees/{heron.id}")
    live.stop()
    expect(page.locator("#link")).to_contain_text("Not connected since")
    expect(page.get_by_role("heading", name="Heron")).to_be_visible()
    press(page, 650)
    expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible()
    expect(page.locator("button.hold")).to_be_enabled()
    press(page, 650)
    expect(page.get_by_role("heading", name="Waiting to be sent (1)")).to_be_visible()
    live.shop.rack.on_refresh = lambda _: live.shop.judge(heron, "drying", remaining=1.0)
    live.shop.clock.time += HOUR_MS  # the shop's clock went on, as the phone counted
    live.start()
    expect(page.locator("#link")).to_be_hidden()
    expect(page.get_by_text("Undo coat 5")).to_be_visible()
    expect(page.locator("#waiting")).to_be_hidden()
    assert count(live, heron) == 5


def test_times_count_on_by_the_shop_s_clock(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.clock.install()
    live.shop.clock.rate = 60.0
    page.goto(live.address)
    row = page.locator(".row", has_text="Bittern")
    expect(row).to_contain_text("fit in about 40 min")
    live.stop()  # so that nothing but the page's own counting can change the words
    page.clock.run_for(20_000)
    expect(row).to_contain_text("fit in about 20 min")
    page.clock.run_for(21_000)
    expect(row).to_contain_text("any moment now")


def test_the_page_counts_in_the_server_s_words(live: LiveShop, phone: Phone) -> None:
    """The script's steps and those of `server.pages.wording` are held together, up to twenty days."""
    page = phone()
    page.clock.install()
    page.goto(live.address)
    spans = [round(1.13**step * 30_000) for step in range(90)]
    page.evaluate(
        """spans => {
          const main = document.getElementById("main");
          main.dataset.clockRate = "0"; delete main.dataset.live;
          const asOf = Number(main.dataset.asOf);
          main.replaceChildren(...spans.flatMap((span, at) => [["since", asOf - span, 0],
            ["until", asOf + span, asOf + (spans[at + 3] ?? span)]]).map(([way, soonest, latest]) => {
            const middle = Math.round((soonest + latest) / 2);
            const one = document.createElement("p");
            Object.assign(one.dataset, { way, soonest, middle, latest });
            return one;
          }));
        }""",
        spans,
    )
    page.clock.run_for(1_100)
    expected = []
    for at, span in enumerate(spans):
        latest = spans[at + 3] if at + 3 < len(spans) else span
        expected.append(duration_words(span))
        around = around_words(span, round((span + latest) / 2), latest)
        expected.append("any moment now" if latest < MINUTE_MS else f"in {around}")
    assert page.locator("#main p").all_text_contents() == expected


@pytest.mark.parametrize("width", [360, 390])
def test_the_longest_words_for_a_time_fit_a_phone(live: LiveShop, phone: Phone, width: int) -> None:
    """A middle, and both ends in units of their own; as the server says it, and as the page counts on."""
    page = phone()
    page.set_viewport_size({"width": width, "height": 844})
    for fit in ((1, 15, 40), (25, 100, 230)):
        when = Quantiles(*(live.shop.clock.now() + minutes * MINUTE_MS for minutes in fit))
        for label in ("Heron", "Bittern"):
            live.shop.judge(tree_of(live, label), "drying", when, 0.3)
        for path in ("/", f"/trees/{tree_of(live, 'Heron').id}"):
            page.goto(f"{live.address}{path}")
            expect(page.locator("[data-way=until]").first).to_contain_text(", ")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (fit, path)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_every_page_fits_a_phone(live: LiveShop, phone: Phone, dark: bool) -> None:
    """Nothing wider than the phone, targets of 48 px, every text with the contrast of WCAG 2.2 AA (1.4.3)."""
    page = phone(dark=dark)
    live.shop.blow("cellar", 30)
    heron, bittern, snipe, teal = (tree_of(live, label) for label in ("Heron", "Bittern", "Snipe", "Teal"))
    last = dip_store.dips(live.shop.engine, heron.id)[-1]
    paths = {
        "rack": "/", "tree": f"/trees/{heron.id}", "pocket": f"/trees/{snipe.id}",
        "resting": f"/trees/{teal.id}", "air": "/air", "fortnight": "/air?span=fortnight",
        "other-nodes": "/air/other-nodes", "beliefs": "/shop/beliefs",
        "shop": "/shop", "new-tree": "/trees/new",
        "missing": "/trees/999", "undo": f"/trees/{heron.id}/dips/{last.id}/undo",
        "measure": f"/trees/{heron.id}/measure", "question": f"/trees/{bittern.id}",
    }  # fmt: skip
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    for name, path in paths.items():
        page.goto(f"{live.address}{path}")
        if name == "question":
            with page.expect_navigation():
                page.evaluate("document.querySelector('form[action$=\"/dips\"]').submit()")
            assert page.locator("h1").text_content()
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            shade = "dark" if dark else "light"
            page.screenshot(path=Path(folder) / f"{name}-{shade}.png", full_page=True)
        page.evaluate("for (const folded of document.querySelectorAll('details')) folded.open = true")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
        assert page.evaluate(SMALL_TARGETS) == [], name
        assert page.evaluate(WEAK_CONTRAST) == [], name


SMALL_TARGETS = """() => [...document.querySelectorAll("a, button, select, summary, input")]
  .filter(one => !one.matches(".skip"))
  .map(one => [one.matches("[type=checkbox], [type=radio]") ? one.closest("label") : one, one])
  .map(([shape, one]) => [shape.getBoundingClientRect(), one])
  .filter(([box]) => box.width > 0 && (box.height < 47.5 || box.width < 47.5))
  .map(([box, one]) => `${one.outerHTML.slice(0, 80)} ${box.width}x${box.height}`)"""

WEAK_CONTRAST = """() => {
  const parse = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const linear = (channel) => {
    const part = channel / 255;
    return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
  };
  const light = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
  const ground = (one) => {
    for (; one; one = one.parentElement) {
      const colour = parse(getComputedStyle(one).backgroundColor);
      if (colour.length < 4 || colour[3] > 0) return colour;
    }
  };
  const weak = [];
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const one = texts.currentNode.parentElement;
    if (!texts.currentNode.data.trim() || one.closest(".section, option, script, title")) continue;
    const style = getComputedStyle(one);
    const colour = one.closest("svg") ? style.fill : style.color;
    const [a, b] = [light(parse(colour)), light(ground(one))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) weak.push(`${texts.currentNode.data.trim().slice(0, 40)} ${ratio.toFixed(2)}`);
  }
  return weak;
}"""
