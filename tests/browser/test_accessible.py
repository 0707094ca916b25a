"""Every page there is, by axe-core (axe-playwright-python carries it) and by our own rules for wet hands.

At 360, 390 and 1280 px, dark and light: no violations and nothing wider than the screen. At 360 px: targets
of 48 px, 8 px apart, and letters of twice the size with nothing wider than the screen. A page that is added
to the service and not visited here fails the test.
"""

import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from fastapi.routing import APIRoute
from playwright.sync_api import Page, expect

from server.note_desk import Noted, take_note
from server.store import dips as dip_store
from server.web import web_app
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import tree_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning"),
]

NO_PAGE = re.compile(
    r"/(api/.*|healthz|readyz|events|static.*|favicon.ico|sw.js|manifest.webmanifest|phone/root.crt"
    r"|[TH]/.*|.*\.csv|.*/photographs?/.*|.*\.jpg)"
)
"""Addresses that answer something else than a page, and those of tags in capitals."""

AXE = (
    "options => axe.run(options).then(found => found.violations.map(one => "
    "`${one.id}: ${one.nodes.map(node => node.html.slice(0, 120)).join(' | ')}`))"
)

LIGHT = {"resultTypes": ["violations"]}
DARK = {**LIGHT, "runOnly": {"type": "rule", "values": ["color-contrast"]}}
"""Dark and light are the same page in other colours: only contrast can differ."""

TARGETS = """() => {
  const shown = [...document.querySelectorAll("a, button, select, summary, textarea, input")]
    .filter(one => !one.matches(".skip") && !one.closest("[hidden], svg"))
    .map(one => [one, (one.matches("[type=checkbox], [type=radio]") ? one.closest("label") : null) ?? one])
    .map(([one, shape]) => [one, shape.getBoundingClientRect()])
    .filter(([one, box]) => box.width > 0 && box.height > 0);
  const name = one => one.outerHTML.slice(0, 90);
  const small = shown.filter(([one, box]) => box.height < 47.5 || box.width < 47.5)
    .map(([one, box]) => `small ${Math.round(box.width)}x${Math.round(box.height)} ${name(one)}`);
  const close = [];
  for (const [at, [one, a]] of shown.entries()) for (const [other, b] of shown.slice(at + 1)) {
    if (one.contains(other) || other.contains(one)) continue;
    const across = Math.max(a.left, b.left) - Math.min(a.right, b.right);
    const down = Math.max(a.top, b.top) - Math.min(a.bottom, b.bottom);
    // Rows of a list are tall, with a line drawn between them.
    const tall = Math.min(a.height, b.height) >= 56 && across < 0;
    const gap = Math.round(Math.max(across, down));
    if (gap < (tall ? 0 : 7)) close.push(`only ${gap} px apart ${name(one)} / ${name(other)}`);
  }
  return [...small, ...close];
}"""

WIDE = """() => document.documentElement.scrollWidth <= innerWidth ? [] :
  [...document.querySelectorAll("body :not(svg *)")]
    .filter(one => one.getBoundingClientRect().right > innerWidth + 0.5)
    .slice(0, 3).map(one => `wide ${one.outerHTML.slice(0, 90)}`).concat(`scrolls ${innerWidth}`)"""


def visited(live: LiveShop) -> dict[str, str]:
    """An address to look at for each page, by the address that the service knows it under."""
    heron, avocet = tree_of(live, "Heron"), tree_of(live, "Avocet")
    last = dip_store.dips(live.shop.engine, heron.id)[-1]
    note, _ = take_note(live.shop.parts, heron.id, Noted("thin at the beak"))
    tree = f"/trees/{heron.id}"
    return {
        "/": "/",
        "/wall": "/wall",
        "/together": "/together",
        "/together/said": f"/together/said?dip={heron.id}-{last.id}",
        "/air": "/air",
        "/air/other-nodes": "/air/other-nodes",
        "/trees/new": "/trees/new",
        "/trees/left": "/trees/left",
        "/trees/{tree_id}": tree,
        "/trees/{tree_id}/dips/{dip_id}/undo": f"{tree}/dips/{last.id}/undo",
        "/trees/{tree_id}/measure": f"{tree}/measure",
        "/trees/{tree_id}/notes": f"{tree}/notes",
        "/trees/{tree_id}/notes/{note_id}/undo": f"{tree}/notes/{note.id}/undo",
        "/trees/{tree_id}/change": f"{tree}/change",
        "/trees/{tree_id}/scrap": f"{tree}/scrap",
        "/shop": "/shop",
        "/shop/settings": "/shop/settings",
        "/shop/recipes": "/shop/recipes",
        "/shop/beliefs": "/shop/beliefs",
        "/shop/devices": "/shop/devices",
        "/shop/told": "/shop/told",
        "/tags": "/tags",
        "/t/{tree_id}": f"/t/{avocet.id}",
        "/h/{hook:path}": "/h/A2",
        "/pair": "/pair",
        "/phone": "/phone",
    }


def pages_of(live: LiveShop) -> Iterator[str]:
    """The addresses under which the service answers pages."""
    for route in web_app(live.shop.parts).routes:
        if isinstance(route, APIRoute) and "GET" in route.methods and not NO_PAGE.fullmatch(route.path):
            yield route.path


def look(page: Page, width: int, options: Mapping[str, object]) -> list[str]:
    page.set_viewport_size({"width": width, "height": 844})
    return [*page.evaluate(AXE, options), *page.evaluate(WIDE)]


def test_every_page_can_be_read_and_touched_by_all(live: LiveShop, phone: Phone) -> None:
    addresses = visited(live)
    assert sorted(set(pages_of(live)) - addresses.keys()) == [], "pages that nobody looked at"
    page, found = phone(), []
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    for path in addresses.values():
        answer = page.goto(live.address + path)
        assert answer is not None
        assert answer.status == 200, path
        expect(page.locator("h1").first).to_be_attached()
        page.evaluate(AXE_SCRIPT)
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        for dark in (False, True):
            page.emulate_media(color_scheme="dark" if dark else "light", reduced_motion="reduce")
            for width in (360, 390, 1280):
                faults = look(page, width, DARK if dark else LIGHT)
                found += [f"{path} {width} {'dark' if dark else 'light'}: {fault}" for fault in faults]
            if folder:
                page.set_viewport_size({"width": 390, "height": 844})
                name = re.sub(r"\W+", "-", path).strip("-") or "rack"
                shade = "dark" if dark else "light"
                page.screenshot(path=Path(folder) / f"all-{name}-{shade}.png", full_page=True)
        page.set_viewport_size({"width": 360, "height": 844})
        if path != "/wall":  # nobody touches it, and its letters follow the screen
            found += [f"{path}: {fault}" for fault in page.evaluate(TARGETS)]
            page.evaluate("document.documentElement.style.fontSize = '32px'")
            found += [f"{path} twice the size: {fault}" for fault in page.evaluate(WIDE)]
    assert found == [], "\n" + "\n".join(found)


def test_nothing_moves_for_those_who_ask_for_stillness(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.emulate_media(reduced_motion="reduce")
    page.goto(f"{live.address}/trees/{tree_of(live, 'Heron').id}")
    page.evaluate("document.querySelector('.hold').classList.add('holding')")
    moving = "one => getComputedStyle(one).transitionProperty"
    assert page.locator(".hold .fill").evaluate(moving) == "none"
