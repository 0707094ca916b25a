"""The check before burnout in a real browser: cleared by holding, reopened for a patch, one sheet."""

import os
import re
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from scheduler.forecast import Quantiles
from sensors.bridging import Bridge
from sensors.clock import HOUR_MS, MINUTE_MS
from server.coat_book import coats_over
from server.drying.warnings import CoatClimate
from server.store import castings, measurements
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.values import NewMeasurement, Tree
from tests.browser.conftest import LiveShop, Phone
from tests.service.fake_shop import NOON

pytestmark = pytest.mark.browser

CLIMATE = CoatClimate(
    dip_c=19.0,
    coldest_c=12.3,
    air_low_c=16.4,
    air_high_c=22.7,
    rh_low_pct=41.0,
    rh_high_pct=68.0,
    fastest_m_s=0.7,
    warmest_c=21.9,
    known_s=14000.0,
    temp_mean_c=19.6,
    rh_mean_pct=53.0,
)


def full(live: LiveShop) -> Tree:
    """A tree with ten coats and all that can be said of each, weighed three times."""
    spots = (
        ("face", "body"),
        ("joint:30", "vent joint"),
        ("joint:75", "gate joint"),
        ("cavity:60x0.2", "belly"),
    )
    fit = Quantiles(NOON - HOUR_MS, NOON - HOUR_MS, NOON - HOUR_MS)
    tree = live.shop.hang("Godwit", "C1", 10, "through", spots, fit=fit, remaining=0.02)
    verdict = live.shop.rack.verdicts[tree.id]
    left = (("body", 0.012), ("vent joint", 0.21), ("gate joint", 0.044), ("belly", 0.048))
    coats = tuple(
        replace(
            coat,
            climate=CLIMATE,
            left_at_next=left if coat.number < 10 else (),
            gaps=((coat.dipped_at, coat.dipped_at + 70 * MINUTE_MS),) if coat.number == 4 else (),
            bridges=(Bridge(coat.dipped_at, coat.dipped_at + 70 * MINUTE_MS, 15.0, 78.0, 0.5),)
            if coat.number == 4
            else (),
            warnings=(
                *coat.warnings,
                "The air was outside what a prime coat wants: down to 31 %RH (40 to 75 %RH).",
            ),
            note="drained long, a thick foot",
        )
        for coat in verdict.coats
    )
    dry = tuple(replace(spot, over_dry=0.0031, over_dry_mean=0.002) for spot in verdict.spots)
    live.shop.rack.verdicts[tree.id] = replace(
        verdict, coats=coats, spots=dry, rested=25 * HOUR_MS, rest=24 * HOUR_MS
    )
    for ago in (2, 1, 0):
        at = NOON - ago * HOUR_MS
        measurements.add_measurement(
            live.shop.engine, NewMeasurement(tree.id, "weighing", at, at, value=6.412)
        )
    return tree


def keep(page: Page, name: str) -> None:
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def hold(page: Page) -> None:
    page.locator("button.hold").hover()
    page.mouse.down()
    expect(page.locator("button.hold")).to_have_count(0)
    page.mouse.up()


def fits(page: Page) -> None:
    """No sideways scroll at 360 px, and everything to touch is 48 px high."""
    page.set_viewport_size({"width": 360, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    low = page.eval_on_selector_all(
        "main a, main button, main select, main summary, main label.tick, "
        "main input:not([type=hidden], [type=checkbox])",
        "all => all.filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 48)"
        ".map(one => one.outerHTML.slice(0, 80))",
    )
    assert low == []
    page.set_viewport_size({"width": 390, "height": 844})


def test_checked_answered_cleared_printed_and_reopened(live: LiveShop, phone: Phone) -> None:
    tree, page = full(live), phone(dark=True)
    page.goto(f"{live.address}/trees/{tree.id}")
    page.get_by_role("link", name="Check before burnout").tap()
    expect(page.locator(".standing")).to_have_text("Cannot say")
    expect(page.get_by_text("Nobody has said whether the belly is packed")).to_be_visible()
    fits(page)
    keep(page, "burnout-asked-dark")
    page.get_by_label("Who says so").fill("Ada")
    page.get_by_role("button", name="No, open inside").tap()
    expect(page.locator(".standing")).to_have_text("Dry through")
    for box in page.locator("label.tick").all():
        if box.is_visible():
            box.tap()
    page.get_by_label("Who looked").fill("Ada")
    page.get_by_role("button", name="Keep the ticks").tap()
    expect(page.locator("label.tick input:checked")).to_have_count(6)
    page.get_by_label("Who clears it").fill("Ada")
    hold(page)
    expect(page.get_by_text(re.compile("^Cleared by Ada, 2 Mar 2026"))).to_be_visible()
    assert tree_store.tree(live.shop.engine, tree.id).left == "cleared"  # type: ignore[union-attr]
    page.get_by_text("Reopen it").tap()
    fits(page)
    keep(page, "burnout-cleared-dark")
    # Ten coats with a warning each on one A4: counted in the file that Chromium would print.
    sheet = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", sheet)) == 1
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        (Path(folder) / "burnout-sheet.pdf").write_bytes(sheet)
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 726, "height": 1050})
        keep(page, "burnout-sheet")
        page.emulate_media(media="screen")
        page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_label("Who reopens it").fill("Ada")
    page.get_by_label("Why").last.fill("a hairline by the vent")
    page.get_by_text("a patch went on: its drying").tap()
    page.get_by_label("Nearest spot").select_option("joint:30")
    page.get_by_role("button", name="Reopen Godwit").tap()
    expect(page.get_by_text(re.compile("^Patch at the vent joint, 2 mm thick"))).to_be_visible()
    assert tree_store.tree(live.shop.engine, tree.id).left == ""  # type: ignore[union-attr]
    castings.keep_coats(live.shop.engine, coats_over(live.shop.rack.verdicts[tree.id], NOON))
    foretold = [
        castings.DipForecast(
            dip.id, dip.at, Quantiles(dip.at + HOUR_MS, dip.at + late * HOUR_MS, dip.at + far)
        )
        for dip, late, far in zip(
            dip_store.dips(live.shop.engine, tree.id),
            (2, 4, 9, 30),
            (5 * HOUR_MS, 5 * HOUR_MS, 3 * HOUR_MS, 90 * HOUR_MS),
            strict=False,  # the coats after these were forecast by nobody
        )
    ]
    castings.keep_forecasts(live.shop.engine, foretold)
    page.goto(f"{live.address}/shop/history")
    expect(page.locator("figure circle")).to_have_count(3)
    expect(page.get_by_text("75 % came within the band")).to_be_visible()
    fits(page)
    keep(page, "history-dark")
    light = phone()
    light.goto(f"{live.address}/trees/{tree.id}/burnout-check")
    expect(light.locator("label.tick input:checked")).to_have_count(0)
    fits(light)
    keep(light, "burnout-reopened-light")
