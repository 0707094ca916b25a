"""The next dips and the pour day, as a phone shows them."""

import os
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS
from tests.browser.conftest import LiveShop, Phone
from tests.service.fake_shop import NOON

pytestmark = pytest.mark.browser

SMALL_TARGETS = """() => [...document.querySelectorAll(
    'main a, main button, main summary, main input, main select')]
  .filter(one => one.type !== 'hidden' && one.type !== 'checkbox' && one.offsetParent)
  .map(one => [one.textContent.trim(), one.getBoundingClientRect().height])
  .filter(([, height]) => height < 47.5)"""


def keep_picture(page: Page, name: str) -> None:
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)


def fits(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


@pytest.mark.parametrize("dark", [False, True])
def test_the_caster_sees_what_is_next_and_sets_a_pour_day(live: LiveShop, phone: Phone, dark: bool) -> None:
    shop, shade = live.shop, "dark" if dark else "light"
    due = Quantiles(*(NOON + round(hours * HOUR_MS) for hours in (0.8, 1.2, 1.9)))
    shop.hang("Shoveler", "C1", 7, "drying", fit=due, remaining=0.3)
    page = phone(dark=dark)
    page.goto(f"{live.address}/next")
    shop.parts.plan_desk.times.wait(60.0)
    page.reload()
    expect(page.get_by_role("heading", name="Next dips")).to_be_visible()
    expect(page.get_by_text("before you leave")).to_be_visible()
    shown = page.locator("ol.dips li .label").all_text_contents()
    second = shown[1]
    page.get_by_role("button", name=f"Take {second} next").first.tap()
    expect(page.locator("ol.dips li .label").first).to_have_text(second)
    expect(page.get_by_text("you said it is next")).to_be_visible()
    page.get_by_text("Say what is coming").tap()
    page.get_by_role("button", name="Heater off tonight").tap()
    expect(page.get_by_text("The whole shop: colder by 5 K")).to_be_visible()
    page.get_by_text("When you work").tap()
    assert page.evaluate(SMALL_TARGETS) == []
    assert fits(page)
    keep_picture(page, f"next-dips-{shade}")
    page.get_by_role("link", name="Pour day and the fortnight").tap()
    page.get_by_label("Burnout begins on").fill("2026-03-08")
    page.get_by_role("button", name="Set the day").tap()
    expect(page.get_by_text("Burnout begins Sun 8 Mar, 08:00.")).to_be_visible()
    expect(page.get_by_role("img", name="The fortnight")).to_be_visible()
    assert page.evaluate(SMALL_TARGETS) == []
    assert fits(page)
    keep_picture(page, f"pour-day-{shade}")
    page.set_viewport_size({"width": 360, "height": 800})
    assert fits(page)
    page.goto(f"{live.address}/next")
    assert fits(page)


@pytest.mark.parametrize("dark", [False, True])
def test_the_caster_asks_what_would_buy_time(live: LiveShop, phone: Phone, dark: bool) -> None:
    shop, shade = live.shop, "dark" if dark else "light"
    shop.parts.plan_desk.times.wait(60.0)
    page = phone(dark=dark)
    page.goto(f"{live.address}/next/pour")
    page.get_by_label("Burnout begins on").fill("2026-03-05")
    page.get_by_role("button", name="Set the day").tap()
    asked = page.get_by_role("link", name="What would buy time on").first
    name = str(asked.get_attribute("aria-label")).removeprefix("What would buy time on ")
    asked.tap()
    expect(page.get_by_role("heading", name=f"What would buy time on {name}")).to_be_visible()
    expect(page.get_by_text(re.compile("backup coats? to come:"))).to_be_visible()
    assert page.evaluate(SMALL_TARGETS) == []
    assert fits(page)
    keep_picture(page, f"buys-time-{shade}")
