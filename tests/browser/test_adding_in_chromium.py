"""Hanging a tree in gloves: by pictures, by the dial, by the phone held along the vent, without script."""

import math
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from server.store import dips as dip_store
from server.store import shop as shop_store
from server.store import trees as tree_store
from server.store.values import Tree
from tests.browser.conftest import LiveShop, Phone
from tests.browser.test_pages_in_chromium import SMALL_TARGETS, WEAK_CONTRAST

pytestmark = pytest.mark.browser

MOST_TAPS = 6
"""The count that the walk below may not exceed; its minute is reckoned at three seconds a tap, one a key."""

TAP_S, KEY_S = 3.0, 1.0
"""Assumed, for gloved hands and somebody who reads the page for the first time."""


def newest(live: LiveShop) -> Tree:
    return tree_store.rack(live.shop.engine)[-1]


def look_at(page: Page, name: str, dark: bool = False, script: bool = True) -> None:
    """Nothing wider than a phone, in large text too; targets, contrast, axe-core; and a picture."""
    folder = os.environ.get("SLOWCORNER_SCREENSHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(folder) / f"{name}-{'dark' if dark else 'light'}.png", full_page=True)
    assert page.evaluate(SMALL_TARGETS) == [], name
    assert page.evaluate(WEAK_CONTRAST) == [], name
    for width, letters in ((360, "16px"), (390, "16px"), (390, "32px")):
        page.set_viewport_size({"width": width, "height": 844})
        page.evaluate("letters => { document.documentElement.style.fontSize = letters; }", letters)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, (name, width, letters)
    page.evaluate("document.documentElement.style.fontSize = ''")
    if script:  # which axe-core is itself
        assert Axe().run(page).response["violations"] == [], name


def test_a_new_user_hangs_a_tree_and_logs_its_first_dip(live: LiveShop, phone: Phone) -> None:
    """Every tap and key is a real one; the rack is open, as a phone that was paired shows it."""
    page, taps, keys = phone(), [], "Godwit"
    page.goto(live.address)

    def tap(words: str, one: Any) -> None:
        taps.append(words)
        one.tap()

    tap("Hang a new tree", page.get_by_role("link", name="Hang a new tree"))
    tap("the name", page.get_by_label("Name", exact=True))
    page.keyboard.type(keys)
    tap(
        "the next free hook",
        page.get_by_role("group", name="Hooks that are free").get_by_role("button").first,
    )
    tap("the tightest corner", page.locator(".additions button", has_text="Tight"))
    tap("Hang it", page.get_by_role("button", name="Hang it"))
    expect(page.get_by_role("heading", name="Godwit")).to_be_visible()
    godwit = newest(live)
    assert [(spot.code, spot.name) for spot in godwit.spots] == [("face", "body"), ("joint:30", "vent joint")]
    assert (godwit.hook, godwit.size_mm, godwit.recipe.name) == ("A5", 25.0, "Ten coats")
    live.shop.judge(godwit, "new")
    live.shop.rack.on_refresh = lambda _: live.shop.judge(godwit, "drying", remaining=1.0)
    taps.append("Dipped, held")
    page.get_by_role("button", name="Dipped: coat 1").hover()
    page.mouse.down()
    expect(page.get_by_text("Undo coat 1")).to_be_visible()
    page.mouse.up()
    assert len(dip_store.dips(live.shop.engine, godwit.id)) == 1
    seconds = len(taps) * TAP_S + len(keys) * KEY_S
    print(f"\n{len(taps)} taps ({'; '.join(taps)}), {len(keys)} keys: about {seconds:.0f} s")
    assert len(taps) <= MOST_TAPS
    assert seconds < 60


def test_the_dial_turns_by_drag_key_and_button_and_says_what_it_does(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.goto(f"{live.address}/trees/new")
    page.locator(".additions button", has_text="Middling").tap()
    slider, code = page.get_by_role("slider"), page.locator("[name=spot_code]").last
    expect(page.locator(".hint p").first).to_contain_text("At 60° about", timeout=30_000)
    expect(page.locator(".hint")).to_contain_text("Opened to 90° it would save")
    expect(page.locator(".hint")).to_contain_text("Coat 3, backup")
    page.get_by_label("Cellar").check()  # where the air stands: it is reckoned anew
    expect(page.locator(".hint")).to_contain_text("moving at 0.2 m/s", timeout=30_000)
    drawn = slider.locator(".wax").get_attribute("d")
    slider.press("ArrowLeft")
    expect(slider).to_have_attribute("aria-valuenow", "55")
    expect(code).to_have_value("joint:55")
    assert slider.locator(".wax").get_attribute("d") != drawn
    page.get_by_role("button", name="5° more open").tap()
    page.get_by_role("button", name="5° more open").tap()
    expect(code).to_have_value("joint:65")
    for key, angle in (("Home", 15), ("ArrowDown", 15), ("PageUp", 30), ("End", 150), ("ArrowUp", 150)):
        slider.press(key)
        expect(code).to_have_value(f"joint:{angle}")
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    assert box
    apex = box["x"] + box["width"] / 2, box["y"] + box["height"] * 0.92
    reach = box["height"] * 0.6

    def to(half_deg: float) -> tuple[float, float]:
        half = math.radians(half_deg)
        return apex[0] + reach * math.sin(half), apex[1] - reach * math.cos(half)

    page.mouse.move(*to(70))
    page.mouse.down()
    page.mouse.move(to(70)[0] + 5, to(70)[1])  # a drop: it turns nothing
    expect(code).to_have_value("joint:150")
    page.mouse.move(*to(17.5), steps=6)
    expect(code).to_have_value("joint:35")
    page.mouse.up()
    page.mouse.move(*to(60))
    expect(code).to_have_value("joint:35")
    page.get_by_role("button", name="Tight", exact=True).tap()
    expect(code).to_have_value("joint:30")
    # A second corner starts beside the first, and the same one twice is said at once.
    page.locator(".additions button", has_text="Tight").tap()
    expect(code).to_have_value("joint:35")
    expect(page.locator("[name=spot_name]").last).to_have_value("gate joint")
    page.get_by_role("button", name="5° tighter").tap()
    expect(page.locator(".twice")).to_have_text("The same as vent joint: one of the two is enough.")
    page.get_by_role("button", name="Take off").last.tap()
    expect(page.locator("[name=spot_code]")).to_have_count(2)


def test_pockets_and_hollows_are_sized_by_buttons(live: LiveShop, phone: Phone) -> None:
    page = phone()
    page.goto(f"{live.address}/trees/new")
    code = page.locator("[name=spot_code]").last
    page.locator(".additions button", has_text="Pocket").tap()
    expect(code).to_have_value("pocket:12x25")
    page.get_by_role("group", name="Width of the mouth").get_by_role("button", name="6 mm").tap()
    page.get_by_label("Depth, mm").fill("32")
    expect(code).to_have_value("pocket:6x32")
    page.locator(".additions button", has_text="Hollow").tap()
    page.get_by_role("group", name="Surface inside").get_by_role("button", name="0.6 m²").tap()
    page.get_by_label("air is blown through").check()
    expect(code).to_have_value("cavity:60x0.6,blown")
    expect(page.locator(".picked .kind").last).to_have_text(
        "hollow of 0.6 m² inside, mouth 60 mm wide, air blown through"
    )
    page.get_by_role("button", name="Large, 80 mm").tap()
    page.get_by_label("Name", exact=True).fill("Godwit")
    page.get_by_label("Hook", exact=True).fill("C1")
    page.get_by_role("button", name="Hang it").tap()
    expect(page.get_by_role("heading", name="Godwit")).to_be_visible()
    assert [spot.code for spot in newest(live).spots] == ["face", "pocket:6x32", "cavity:60x0.6,blown"]
    assert newest(live).size_mm == 80.0
    # Another like it keeps them, and a fault keeps what was tapped.
    page.goto(f"{live.address}/trees/new?like={newest(live).id}")
    page.get_by_label("Name", exact=True).fill("Godwit II")
    page.get_by_label("Hook", exact=True).fill("C1")
    page.get_by_role("button", name="Hang it").tap()
    expect(page.get_by_role("alert")).to_have_text("Not hung: hook C1 is taken: Godwit hangs there.")
    page.get_by_label("Hook", exact=True).fill("C2")
    page.get_by_role("button", name="Hang it").tap()
    expect(page.get_by_role("heading", name="Godwit II")).to_be_visible()
    assert [spot.code for spot in newest(live).spots] == ["face", "pocket:6x32", "cavity:60x0.6,blown"]


def turned(alpha: float, beta: float, gamma: float) -> np.ndarray[Any, Any]:
    """The phone's turn, written out anew: about z, then x', then y'' (W3C DeviceOrientation, 2022)."""
    a, b, g = (math.radians(one) for one in (alpha, beta, gamma))
    about_z = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, math.cos(b), -math.sin(b)], [0, math.sin(b), math.cos(b)]])
    about_y = np.array([[math.cos(g), 0, math.sin(g)], [0, 1, 0], [-math.sin(g), 0, math.cos(g)]])
    return np.asarray(about_z @ about_x @ about_y)


def test_the_phone_held_along_vent_and_cup_gives_the_angle(live: LiveShop, phone: Phone) -> None:
    """The pure function against rotation matrices written out in NumPy; then by a phone’s events."""
    page = phone()
    page.goto(f"{live.address}/trees/new")
    draw = np.random.default_rng(5)
    low, high = np.array([0, -180, -90]), np.array([360, 180, 90])
    pairs = [(draw.uniform(low, high).tolist(), draw.uniform(low, high).tolist()) for _ in range(200)]
    pairs += [([10, 40, 0], [10, 40, 70]), ([0, 90, 0], [0, -90, 0]), ([0, 0, 0], [90, 0, 0])]
    found = page.evaluate(
        """async (pairs) => {
          const { included } = await import("/static/phone-angle.js");
          const lies = ([alpha, beta, gamma]) => ({ alpha, beta, gamma });
          return pairs.map(([one, other]) => included(lies(one), lies(other)));
        }""",
        pairs,
    )
    tops = [(turned(*one) @ [0, 1, 0], turned(*other) @ [0, 1, 0]) for one, other in pairs]
    expected = [math.degrees(math.acos(min(max(float(p @ q), -1.0), 1.0))) for p, q in tops]
    assert found == pytest.approx(expected, abs=1e-5)
    assert found[-3:] == pytest.approx([0.0, 180.0, 90.0], abs=1e-5)

    def lie(alpha: float, beta: float) -> None:
        page.evaluate(
            "told => dispatchEvent(new DeviceOrientationEvent('deviceorientation', told))",
            {"alpha": alpha, "beta": beta, "gamma": 3},
        )

    page.locator(".additions button", has_text="Open").tap()
    page.get_by_role("button", name="Measure with this phone").tap()
    expect(page.get_by_role("button", name="It lies along the vent")).to_be_visible()  # it listens now
    lie(100, 10)
    page.get_by_role("button", name="It lies along the vent").tap()
    lie(100, 47)
    page.get_by_role("button", name="It lies along the cup").tap()
    expect(page.locator(".by-phone p")).to_have_text("Measured 37°, taken as 35°.")
    expect(page.locator("[name=spot_code]").last).to_have_value("joint:35")
    page.evaluate("DeviceOrientationEvent.requestPermission = async () => 'denied'")
    page.get_by_role("button", name="Measure with this phone").tap()
    expect(page.locator(".by-phone p")).to_contain_text("was told not to give its angle away")


def test_spots_are_put_right_on_a_tree_that_hangs(live: LiveShop, phone: Phone) -> None:
    """An angle by the dial, a joint that was forgotten by its picture, one taken off, asked for."""
    page, shop = phone(), live.shop
    shop_store.set_setting(shop.engine, "length_unit", "in")
    swift = shop.hang(
        "Swift", "C1", 3, "drying", (("joint:32", "vent joint"), ("pocket:12x40", "beak")), remaining=0.4
    )
    page.goto(f"{live.address}/trees/{swift.id}")
    page.get_by_role("link", name="Its spots").tap()
    expect(page.get_by_text("All 3 coats that are on are judged anew")).to_be_visible()
    codes = page.locator("[name=spot_code]")
    page.get_by_role("button", name="Change").last.tap()  # looked at, nothing more: it stays what it was
    page.get_by_role("button", name="Change").first.tap()
    assert [codes.nth(at).input_value() for at in range(2)] == ["joint:32", "pocket:12x40"]
    expect(page.locator(".hint p").first).to_contain_text("At 30° about", timeout=30_000)
    page.get_by_role("button", name="5° tighter").tap()
    expect(codes.first).to_have_value("joint:25")
    page.locator(".additions button", has_text="Middling").tap()
    expect(codes.last).to_have_value("joint:60")
    expect(page.locator(".hint p").first).to_contain_text("At 60° about", timeout=30_000)
    for dark in (True, False):
        page.emulate_media(color_scheme="dark" if dark else "light")
        look_at(page, "spots", dark)
    page.get_by_role("button", name="Keep these spots").tap()
    expect(page.get_by_role("heading", name="Swift", exact=True)).to_be_visible()
    kept = [("joint:25", "vent joint"), ("pocket:12x40", "beak"), ("joint:60", "gate joint")]
    assert [(spot.code, spot.name) for spot in newest(live).spots] == kept
    page.goto(f"{live.address}/trees/{swift.id}/spots")
    page.get_by_role("button", name="Take off").nth(1).tap()
    page.get_by_role("button", name="Keep these spots").tap()
    expect(page.get_by_role("heading", name="Take beak off? Swift may then be called fit")).to_be_visible()
    look_at(page, "spots-asked")
    page.get_by_role("button", name="Take it off").hover()
    page.mouse.down()
    expect(page.get_by_role("heading", name="Swift", exact=True)).to_be_visible()
    page.mouse.up()
    assert [spot.code for spot in newest(live).spots] == ["joint:25", "joint:60"]


def test_a_tree_is_hung_without_script(live: LiveShop, phone: Phone) -> None:
    page = phone(script=False)
    page.goto(f"{live.address}/trees/new")
    expect(page.locator(".additions")).to_be_hidden()
    page.get_by_label("Name", exact=True).fill("Godwit")
    page.get_by_label("Hook", exact=True).fill("C1")
    page.get_by_label("Spot 2, in your words").fill("gate")
    page.get_by_label("Spot 2, code").fill("joint:25")
    look_at(page, "new-tree-plain", script=False)
    page.get_by_role("button", name="Hang it").tap()
    expect(page.get_by_role("heading", name="Godwit")).to_be_visible()
    assert [(spot.code, spot.name) for spot in newest(live).spots] == [("face", "body"), ("joint:25", "gate")]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_form_fits_a_phone(live: LiveShop, phone: Phone, dark: bool) -> None:
    page = phone(dark=dark)
    page.goto(f"{live.address}/trees/new")
    for kind in ("Tight", "Pocket", "Hollow"):
        page.locator(".additions button", has_text=kind).tap()
        if kind == "Tight":
            expect(page.locator(".hint")).to_contain_text("as long as the flat face", timeout=30_000)
        look_at(page, f"new-tree-{kind.lower()}", dark)
    page.get_by_text("Another like one").tap()
    look_at(page, "new-tree-likes", dark)
