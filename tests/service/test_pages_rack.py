"""The rack of one, of eight and of forty trees, a round of dips, and the wall, read without script."""

import gzip
import re

import pytest

from scheduler.forecast import Quantiles, State
from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.values import Tree
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished
from tests.service.test_pages import Reader, read

STATES: tuple[State, ...] = ("fit", "drying", "drying", "drying", "unsure", "resting", "new", "drying")


def fill(shop: FakeShop, count: int) -> list[Tree]:
    """A rack of so many trees, in all states, in two places."""
    shop.blow("drying-room", 6)
    trees = []
    for number in range(count):
        state = STATES[number % len(STATES)]
        coats = {"new": 0, "resting": 10}.get(state, 1 + number % 8)
        middle = NOON + (30 + 37 * number) * MINUTE_MS if state != "fit" else NOON - number * MINUTE_MS
        fit = Quantiles(middle - 20 * MINUTE_MS, middle, middle + 50 * MINUTE_MS)
        place = "cellar" if number % 4 == 3 else "drying-room"
        name = f"Bird {number + 1}"
        trees.append(shop.hang(name, f"H{number + 1}", coats, state, place=place, fit=fit, remaining=0.4))
    return trees


def dried(shop: FakeShop, label: str, hook: str, minutes: int) -> Tree:
    moment = NOON + minutes * MINUTE_MS
    return shop.hang(label, hook, 3, "drying", fit=Quantiles(moment, moment, moment), remaining=0.3)


def test_a_rack_of_forty_is_short_over_the_wire_and_in_parts(shop: FakeShop, web: Browser) -> None:
    fill(shop, 40)
    answer = web.get("/")
    page = Reader(answer.text)
    assert len(gzip.compress(answer.content, 6)) < 30_000, "leaves as much again for style and script"
    assert "Fit and waiting (4)" in page.text
    assert "Drying (20)" in page.text
    assert [link for link in page.links if link.startswith("#")][1:] == [
        "#fit", "#drying", "#unsure", "#new", "#resting",
    ]  # fmt: skip
    assert len({link for link in page.links if re.fullmatch(r"/trees/\d+", link)}) == 40
    said = re.findall(r"\((\d+)\)", " ".join(re.findall(r"<h2>.*?</h2>", answer.text)))
    assert sum(map(int, said)) == 39


def test_one_tree_alone_and_none_at_all(shop: FakeShop, web: Browser) -> None:
    page = read(web, "/")
    assert "No tree hangs on the rack yet." in page.text
    assert "Hang the first tree" in page.text
    assert "none has been heard yet" in page.text
    fill(shop, 1)
    html = web.get("/").text
    assert 'class="next alone"' in html
    assert "<h2>" not in html
    assert "/together" not in html
    assert "Place" not in Reader(html).text


def test_one_place_alone_keeps_its_address(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    page = read(web, "/?place=cellar")
    assert f"/trees/{trees['Avocet'].id}" in page.links
    assert f"/trees/{trees['Heron'].id}" not in page.links
    assert "/?place=drying-room" in page.links
    assert "Dunlin" in page.text
    assert "No tree hangs at the place “attic”." in read(web, "/?place=attic").text
    read(web, f"/?place={'x' * 65}", 422)


def test_what_comes_fit_together_is_said(shop: FakeShop, web: Browser) -> None:
    dried(shop, "Heron", "A1", 50)
    for number, label in enumerate(("Bittern", "Snipe", "Teal")):
        dried(shop, label, f"B{number}", 120 + 5 * number)
    # 14:00 in the shop at noon UTC; the last of them in 130 min.
    assert "These three come fit together about 16:10 Bittern" in read(web, "/").text
    dried(shop, "Dunlin", "C1", 60)
    assert "Heron and this one come fit together about 15:00 Dunlin" in read(web, "/").text


def keys(web: Browser) -> list[str]:
    return re.findall(r'name="tree" value="([^"]+)"', web.get("/together").text)


def standing(shop: FakeShop, tree: Tree) -> int:
    return len(dip_store.dips(shop.engine, tree.id))


def test_a_round_writes_down_what_is_sure_and_asks_for_the_rest(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    html = web.get("/together").text
    assert "checked" not in html, "nothing is ticked for anybody"
    offered = re.findall(r'value="(page-(\d+)-[^"]+)"', html)
    assert {int(tree_id) for _, tree_id in offered} == {
        trees[name].id for name in ("Heron", "Bittern", "Snipe", "Avocet", "Dunlin")
    }
    key = {int(tree_id): whole for whole, tree_id in offered}
    ticked = [key[trees[name].id] for name in ("Heron", "Bittern", "Dunlin")]
    answer = web.post("/together", data={"tree": ticked, "pot": "2", "ago_min": "0"})
    assert answer.status_code == 409
    asked = Reader(answer.text)
    assert "One of them is in doubt" in asked.text
    assert "Written down: Heron and Dunlin." in asked.text
    assert "Bittern About a third is left at the vent joint: dip anyway?" in asked.text
    assert "Heron About" not in asked.text
    assert [standing(shop, trees[name]) for name in ("Heron", "Bittern", "Dunlin")] == [5, 3, 1]
    # Sent again, as a phone does that saw no answer: the same dips.
    assert web.post("/together", data={"tree": ticked, "pot": "2", "ago_min": "0"}).status_code == 409
    assert [standing(shop, trees[name]) for name in ("Heron", "Bittern", "Dunlin")] == [5, 3, 1]
    fields: dict[str, str | list[str]] = dict(asked.forms[0][1])
    fields["done"] = re.findall(r'name="done" value="([^"]+)"', answer.text)
    shop.clock.advance(5 * MINUTE_MS)
    onward = web.post("/together", data={**fields, "tree": [key[trees["Bittern"].id]]})
    assert onward.status_code == 303
    dip = dip_store.dips(shop.engine, trees["Bittern"].id)[-1]
    assert (dip.at, dip.pot) == (NOON, "2"), "as it was said first"
    said = read(web, onward.headers["location"])
    assert "3 dips written down" in said.text
    assert "Undo all three" in said.text
    undone = web.post(
        "/together/undo", data={"dip": re.findall(r"dip=(\d+-\d+)", onward.headers["location"])}
    )
    assert undone.status_code == 303
    assert "0 dips written down" in read(web, undone.headers["location"]).text
    assert [standing(shop, trees[name]) for name in ("Heron", "Bittern", "Dunlin")] == [4, 3, 0]


@pytest.mark.parametrize(
    ("said", "ago_ms"),
    [
        ({"ago_min": "60"}, HOUR_MS),
        ({"ago_min": "120"}, 2 * HOUR_MS),
        ({"clock": "13:30"}, 30 * MINUTE_MS),
        ({"clock": "15:00", "ago_min": "60"}, 23 * HOUR_MS),  # 15:00 is still to come: it was yesterday's
    ],
)
def test_when_it_was_can_be_said(shop: FakeShop, web: Browser, said: dict[str, str], ago_ms: Millis) -> None:
    tree = shop.hang("Heron", "A1")
    [key] = keys(web)
    assert web.post("/together", data={"tree": key, **said}).status_code == 303
    assert dip_store.dips(shop.engine, tree.id)[0].at == NOON - ago_ms


def test_a_round_and_the_tree_s_own_page_are_one_dip(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    [key] = keys(web)
    assert web.post(f"/trees/{tree.id}/dips", data={"key": key}).status_code == 303
    assert web.post("/together", data={"tree": key}).status_code == 303
    assert standing(shop, tree) == 1


def test_what_cannot_be_is_told_and_nothing_written(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    assert "Nothing was ticked" in Reader(web.post("/together").text).text
    for wrong in (
        {"tree": "7"},
        {"tree": "page-1-0-1", "clock": "25:61"},
        {"tree": "page-1-0-1", "ago_min": "-5"},
    ):
        assert web.post("/together", data=wrong).status_code == 422, wrong
    assert "not a time of day" in web.post("/together", data={"tree": "page-1-0-1", "clock": "25:61"}).text
    assert "There is no tree 999." in Reader(web.post("/together", data={"tree": "page-999-0-1"}).text).text
    tree_store.take_off(shop.engine, tree.id, "scrapped", NOON, "Ada", "cracked")
    gone = web.post("/together", data={"tree": f"page-{tree.id}-0-1"})
    assert gone.status_code == 409
    assert "Heron is scrapped" in Reader(gone.text).text
    assert standing(shop, tree) == 0
    assert "No tree on the rack takes another coat." in read(web, "/together").text
    read(web, "/together/said?dip=1", 422)
    read(web, "/together/said?dip=999-999")


def test_only_the_latest_coat_of_a_round_is_taken_back(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", 2, "drying", remaining=0.3)
    first, second = dip_store.dips(shop.engine, tree.id)
    assert "/undo" not in " ".join(read(web, f"/together/said?dip={tree.id}-{first.id}").links)
    refused = web.post("/together/undo", data={"dip": f"{tree.id}-{first.id}"})
    assert refused.status_code == 409
    assert f"coat {second.coat} is on it" in Reader(refused.text).text
    assert standing(shop, tree) == 2


def test_the_wall_tells_the_next_three(shop: FakeShop, web: Browser) -> None:
    furnished(shop)
    answer = web.get("/wall")
    text = Reader(answer.text).text
    assert "14:00 1 fit · 2 drying · 1 unsure · 1 new · 1 resting · 1 dry through" in text
    assert "Heron hook A1 Fit to dip for about 20 min coat 5, backup" in text
    assert "Snipe hook A3 Drying fit not before tomorrow afternoon" in text
    assert "Avocet" not in text
    assert re.search(r"Cellar \d+ °C, \d+ %RH · Drying room \d+ °C, \d+ %RH", text)
    assert 'class="day"' in answer.text
    assert '<noscript><meta http-equiv="refresh"' in answer.text


def test_the_wall_dims_at_night_and_says_that_nothing_hangs(shop: FakeShop, web: Browser) -> None:
    shop.clock.time = NOON + 9 * HOUR_MS  # 23:00 in Helsinki
    answer = web.get("/wall")
    assert 'class="night"' in answer.text
    assert "No tree hangs on the rack yet" in answer.text
    assert "Drying room: air not known" in answer.text
