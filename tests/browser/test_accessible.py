"""Every page there is, by axe-core (axe-playwright-python carries it) and by our own rules for wet hands.

At 360, 390 and 1280 px, dark and light: no violations and nothing wider than the screen. At 360 px: targets
of 48 px, 8 px apart, and letters of twice the size with nothing wider than the screen. A page that is added
to the service and not visited here fails the test.
"""

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

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
"""Addresses that answer something else than a page, lead on at once, or are tags in capitals."""

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
    note, _ = take_note(live.shop.parts, heron.id, Noted("Thin at the beak."))
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
        "/trees/{tree_id}/spots": f"{tree}/spots",
        "/trees/{tree_id}/scrap": f"{tree}/scrap",
        "/trees/{tree_id}/another": f"{tree}/another",
        "/trees/{tree_id}/tag": f"{tree}/tag",
        "/shop": "/shop",
        "/shop/settings": "/shop/settings",
        "/shop/recipes": "/shop/recipes",
        "/shop/beliefs": "/shop/beliefs",
        "/shop/devices": "/shop/devices",
        "/shop/told": "/shop/told",
        "/shop/history": "/shop/history",
        "/next": "/next",
        "/next/pour": "/next/pour",
        "/air/nodes/{place}/{node}/calibrate": "/air/nodes/drying-room/wall/calibrate",
        "/trees/{tree_id}/burnout-check": f"/trees/{tree_of(live, 'Curlew').id}/burnout-check",
        "/tags": "/tags",
        "/t/{tree_id}": f"/t/{avocet.id}",
        "/h/{hook:path}": "/h/A2",
        "/pair": "/pair",
        "/phone": "/phone",
    }


def pages_of(routes: Iterable[Any]) -> Iterator[str]:
    """The addresses under which the service answers pages, in routers within routers too."""
    for route in routes:
        if isinstance(route, APIRoute):
            if "GET" in (route.methods or ()) and not NO_PAGE.fullmatch(route.path):
                yield route.path
        elif (router := getattr(route, "original_router", None)) is not None:
            yield from pages_of(router.routes)


def answers(live: LiveShop) -> dict[str, tuple[str, int]]:
    """Pages that only follow what was sent: where it is sent from, by which script, and the status."""
    tick = "for (const one of document.querySelectorAll('.round [type=checkbox]')) one.checked = true;"
    return {
        f"/trees/{tree_of(live, 'Bittern').id}": ("document.querySelector('form.dip').submit()", 409),
        "/together": (f"{tick} document.querySelector('.round').submit()", 409),
        "/trees/999": ("", 404),
    }


def look(page: Page, width: int, options: Mapping[str, object]) -> list[str]:
    page.set_viewport_size({"width": width, "height": 844})
    return [*page.evaluate(AXE, options), *page.evaluate(WIDE)]


def test_every_page_can_be_read_and_touched_by_all(live: LiveShop, phone: Phone) -> None:
    addresses = visited(live)
    assert set(pages_of(web_app(live.shop.parts).routes)) == addresses.keys(), "each page is looked at"
    page, found = phone(), []
    for path in addresses.values():
        answer = page.goto(live.address + path)
        assert answer is not None
        assert answer.status == 200, path
        found += faults_of(page, path)
    for path, (script, status) in answers(live).items():
        answer = page.goto(live.address + path)
        if script:
            with page.expect_navigation() as gone:
                page.evaluate(script)
            answer = gone.value
        assert answer is not None
        assert answer.status == status, path
        found += faults_of(page, f"{path}, {status}")
    assert found == [], "\n" + "\n".join(found)


def faults_of(page: Page, name: str) -> list[str]:
    """What is wrong with the page that is shown."""
    folder, found = os.environ.get("SLOWCORNER_SCREENSHOTS"), []
    expect(page.locator("h1").first).to_be_attached()
    page.evaluate(AXE_SCRIPT)
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    for dark in (False, True):
        shade = "dark" if dark else "light"
        page.emulate_media(color_scheme="dark" if dark else "light", reduced_motion="reduce")
        for width in (1280, 390, 360):
            found += [f"{width} {shade}: {fault}" for fault in look(page, width, DARK if dark else LIGHT)]
        if folder:
            words = re.sub(r"\W+", "-", name).strip("-") or "rack"
            page.screenshot(path=Path(folder) / f"all-{words}-{shade}.png", full_page=True)
    if name != "/wall":  # nobody touches it, and its letters follow the screen
        found += page.evaluate(TARGETS)
        page.evaluate("document.documentElement.style.fontSize = '32px'")
        found += [f"twice the size: {fault}" for fault in page.evaluate(WIDE)]
    return [f"{name} {fault}" for fault in found]


def test_nothing_moves_for_those_who_ask_for_stillness(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.emulate_media(reduced_motion="reduce")
    page.goto(f"{live.address}/trees/{tree_of(live, 'Heron').id}")
    page.evaluate("document.querySelector('.hold').classList.add('holding')")
    moving = "one => getComputedStyle(one).transitionProperty"
    assert page.locator(".hold .fill").evaluate(moving) == "none"
