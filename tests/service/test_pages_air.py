"""The page of the air over a real store: what is known, where it is not, and places that want a name."""

import re
from dataclasses import replace
from typing import Any

from sensors.bridging import Bridge
from sensors.clock import HOUR_MS, MINUTE_MS
from sensors.reading import NodeStatus, Reading, Rejected
from server.store import places as place_store
from server.store import readings as reading_store
from server.store.values import Place
from server.verdicts import AirPoint
from tests.service.fake_shop import NOON, Browser, FakeShop
from tests.service.test_pages import Reader, read


def test_the_air_page_tells_air_gaps_nodes_and_what_was_kept_out(shop: FakeShop, web: Browser) -> None:
    shop.blow("drying-room", 24, gap=(3.0, 1.0))
    reading = Reading("drying-room", "rack-north", "temperature", "Cel", 18.0, NOON - MINUTE_MS)
    rejected = Rejected("slowcorner/cellar/wall/senml", "not JSON: <nothing>", b"\xff\x00<script>", NOON)
    status = NodeStatus("cellar", "wall", False, NOON - HOUR_MS)
    reading_store.keep(shop.engine, [reading], [rejected], [status], NOON)
    answer = web.get("/air")
    assert "<script>" not in answer.text.replace('<script src="/static/shop.js" type="module">', "")
    text = read(web, "/air").text
    for words in (
        "Drying room",
        "%RH",
        "0.6 m/s at the rack",
        "dew point",
        "A wet face would dry at about",
        "Air not known from 11:00 to 13:10 (about 2 h).",
        "rack-north Drying room says nothing of itself · last heard 13:59 18 °C",
        "wall Cellar offline · last heard 13:00",
        "1 thing was kept out so far.",
        "not JSON: <nothing>",
    ):
        assert words in text


def test_the_air_page_says_what_the_trees_were_worked_with_in_a_gap(shop: FakeShop, web: Browser) -> None:
    shop.blow("drying-room", 24, gap=(3.0, 1.0))
    assert "(about 2 h). No reading here; no tree was worked through it." in read(web, "/air").text
    tree = shop.hang("Heron", "A3", coats=2, state="drying")
    gap = (NOON - 3 * HOUR_MS, NOON - HOUR_MS)
    _set_coat(shop, tree.id, gaps=(gap,))
    said = "No reading here, and no days before to go by: the trees were taken not to dry."
    assert said in read(web, "/air").text
    _set_coat(shop, tree.id, gaps=(gap,), bridges=(Bridge(*gap, 14.6, 71.2, 0.6),))
    said = (
        "No reading here: the trees were worked with the worst air of that hour of the last days, "
        "down to 15 °C and up to 71 %RH, and none is called fit by that guess."
    )
    assert said in read(web, "/air").text
    # A tree that hung elsewhere meanwhile tells nothing of this place.
    place_store.add_place(shop.engine, Place("loft", "Loft", 0.3))
    elsewhere = shop.hang("Wren", "B1", coats=1, state="drying", place="loft")
    _set_coat(shop, elsewhere.id, gaps=(gap,), bridges=(Bridge(*gap, 2.0, 99.0, 0.1),))
    assert said in read(web, "/air").text
    _set_coat(shop, tree.id, gaps=(), bridges=())
    assert "(about 2 h). No reading here; no tree was worked through it." in read(web, "/air").text


def _set_coat(shop: FakeShop, tree_id: int, **said: Any) -> None:
    verdict = shop.rack.verdicts[tree_id]
    coats = (*verdict.coats[:-1], replace(verdict.coats[-1], **said))
    shop.rack.verdicts[tree_id] = replace(verdict, coats=coats)


def test_the_air_of_the_last_minutes_is_not_known_yet_and_no_gap(shop: FakeShop, web: Browser) -> None:
    shop.blow("drying-room", 24)
    for minutes, gap in ((80, False), (100, True)):
        shop.clock.time = NOON + minutes * MINUTE_MS
        ending = tuple(AirPoint(NOON + at * MINUTE_MS, None, None) for at in range(0, minutes, 10))
        known = tuple(point for point in shop.rack.airs["drying-room"] if point.time < NOON)
        shop.rack.airs["drying-room"] = known + ending
        html = web.get("/air").text
        assert ("Air not known from 14:00 to now" in html) is gap
        assert ('class="gap"' in html) is gap
        said = web.get("/api/places/drying-room/air").json()
        assert bool(said["gaps"]) is gap
        assert said["air"][-1]["temp_c"] is None


def test_the_air_page_shows_a_day_or_a_fortnight(shop: FakeShop, web: Browser) -> None:
    shop.blow("drying-room", 15 * 24)
    day, fortnight = (web.get(f"/air?span={span}").text for span in ("day", "fortnight"))
    assert '<a class="button" href="/air?span=day" aria-current="true">Last day</a>' in day
    assert '<a class="button" href="/air?span=fortnight" aria-current="true">Last fortnight</a>' in fortnight
    # 24 h in tens of minutes, 14 days in hours; of the last step nothing is known yet.
    lines = [re.findall(r'd="(M[^"]*)"', html) for html in (day, fortnight)]
    assert [1 + max(line.count("L") for line in drawn) for drawn in lines] == [6 * 24 - 1, 14 * 24 - 1]
    assert web.get("/air?span=year").status_code == 422


def test_a_place_that_nodes_speak_of_is_named(shop: FakeShop, web: Browser) -> None:
    reading = Reading("attic", "beam", "temperature", "Cel", 18.0, NOON - MINUTE_MS)
    reading_store.keep(shop.engine, [reading], [], [], NOON)
    page = read(web, "/air")
    assert "Nodes speak of the place “attic”, which has no name here yet." in page.text
    fields = {"place": "attic", "name": "Under the roof", "speed_m_s": "0.3"}
    assert web.post("/places", data=fields).status_code == 303
    named = place_store.place(shop.engine, "attic")
    assert named is not None
    assert (named.name, named.speed_m_s) == ("Under the roof", 0.3)
    assert "has no name here" not in read(web, "/air").text
    for wrong, words in (("attic", "is there already"), ("rack", "keeps for itself"), ("A b", "1 to 64")):
        again = web.post("/places", data=fields | {"place": wrong})
        assert again.status_code == 422
        assert words in Reader(again.text).text
    assert web.post("/places", data=fields | {"speed_m_s": "0"}).status_code == 422
