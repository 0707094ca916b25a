"""The page of calibration on a phone: before, during and after a jar, dark and light."""

import os
from pathlib import Path

import pytest

from sensors.clock import HOUR_MS, MINUTE_MS
from server.store import calibrations as store
from server.store import readings as reading_store
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import SMALL_TARGETS, WEAK_CONTRAST
from tests.service.fake_shop import NOON
from tests.service.test_calibrating import PAGE, in_jar, tell

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_a_node_is_calibrated_by_two_jars(live: LiveShop, phone: Phone, dark: bool) -> None:
    engine, clock = live.shop.engine, live.shop.clock
    tell(engine, in_jar(NOON - HOUR_MS, 0.9, 56.0))
    page = phone(dark=dark)
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")

    def look(name: str) -> None:
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            shade = "dark" if dark else "light"
            page.screenshot(path=Path(folder) / f"calibrate-{name}-{shade}.png", full_page=True)
        page.wait_for_load_state()
        page.evaluate("for (const folded of document.querySelectorAll('details')) folded.open = true")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
        assert page.evaluate(SMALL_TARGETS) == [], name
        assert page.evaluate(WEAK_CONTRAST) == [], name

    page.goto(f"{live.address}{PAGE}")
    look("before")
    for salt, said_pct in (("NaCl", 78.0), ("MgCl2", 36.0)):
        page.get_by_label("Salt, and what it holds").select_option(salt)
        page.get_by_role("button", name="The lid is on").click()
        page.get_by_text("Not settled").wait_for()
        tell(engine, in_jar(clock.now() + MINUTE_MS, 9.0, said_pct))
        clock.advance(3 * HOUR_MS)
        page.get_by_role("link", name="Look again").click()
        page.get_by_text("a jar is left closed for 4 h at least").wait_for()
        look("waiting")
        clock.advance(6 * HOUR_MS)
        page.get_by_role("link", name="Look again").click()
        look("settled")
        page.get_by_role("button", name="Read it and take it out").click()
        page.get_by_role("button", name="Correct by these jars").wait_for()
        clock.advance(HOUR_MS)
    page.get_by_role("button", name="Correct by these jars").click()
    page.get_by_text("Take it back").wait_for()
    look("done")
    [line] = store.corrections(engine, "cellar")
    assert line.slope * 78.0 + line.shift == pytest.approx(75.48, abs=0.1)  # NaCl at 20 °C
    page.get_by_role("button", name="Take it back").click()
    page.get_by_text("taken back").wait_for()
    assert store.corrections(engine, "cellar") == []
    assert reading_store.node_readings(engine, "n1", 0, NOON)
