"""The spots of a tree that hangs, changed on its page and by the API: what is kept, asked and refused."""

from typing import Any

import httpx
import pytest

from sensors.clock import HOUR_MS
from server.store import clearings, saved
from server.store import trees as tree_store
from server.store.clearings import NewPatch
from server.store.engine import Engine
from server.store.values import TreeSpot
from tests.service.fake_shop import NOON, Browser, FakeShop, problem
from tests.service.records import START, steady
from tests.service.test_live import SPOTS, Shop, only
from tests.service.test_pages import Reader

VENT, BODY = ("vent joint", "joint:30"), ("body", "face")


def send(web: Browser, tree_id: int, *spots: tuple[str, str], **more: Any) -> httpx.Response:
    names, codes = [name for name, _ in spots], [code for _, code in spots]
    return web.post(f"/trees/{tree_id}/spots", data={"spot_name": names, "spot_code": codes} | more)


def spots(shop: FakeShop, tree_id: int) -> list[tuple[str, str]]:
    tree = tree_store.tree(shop.engine, tree_id)
    assert tree is not None
    return [(spot.name, spot.code) for spot in tree.spots]


def test_before_the_first_dip_everything_may_change(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    page = web.get(f"/trees/{tree.id}/spots").text
    assert "No coat is on yet" in page
    assert 'value="joint:30"' in page
    answer = send(web, tree.id, ("cup joint", "joint:45"), ("", ""), ("beak", "pocket:8x20"))
    assert (answer.status_code, answer.headers["location"]) == (303, f"/trees/{tree.id}")
    assert spots(shop, tree.id) == [("cup joint", "joint:45"), ("beak", "pocket:8x20")]
    assert shop.rack.refreshed == [tree.id]
    event = tree_store.events(shop.engine, tree.id)[-1]
    assert (event.kind, [one["code"] for one in event.payload["spots"]]) == (
        "amended", ["joint:45", "pocket:8x20"],
    )  # fmt: skip


def test_with_coats_on_an_angle_or_a_joint_more_is_taken_and_a_spot_less_is_asked_for(
    shop: FakeShop, web: Browser
) -> None:
    tree = shop.hang("Heron", "A1", coats=4, state="drying", remaining=0.3)
    said = Reader(web.get(f"/trees/{tree.id}/spots").text).text
    assert "All 4 coats that are on are judged anew at these spots, from the first dip on" in said
    assert "may change at once" in said
    tighter = (("vent joint", "joint:25"), BODY, ("cup joint", "joint:60"))
    assert send(web, tree.id, *tighter).status_code == 303
    assert spots(shop, tree.id) == list(tighter)
    asked = send(web, tree.id, BODY)
    question = "Take vent joint and cup joint off? Heron may then be called fit while they are still damp."
    assert (asked.status_code, question in Reader(asked.text).text) == (409, True)
    assert spots(shop, tree.id) == list(tighter)
    assert send(web, tree.id, BODY, confirm="yes").status_code == 303
    assert spots(shop, tree.id) == [BODY]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ([("vent", "joint:181")], "joint angle 181° in 'joint:181' is outside 15° to 150°"),
        ([("vent", "")], "spot 'vent' has no code"),
        ([VENT, ("gate", "joint:30")], "joint:30 is there twice"),
        ([("x" * 500, "face")], "the name of a spot is 500 signs long: it may have up to 60"),
        ([("two\nlines", "face")], "must be one line of plain text"),
        ([("", "")], "at least one spot"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(
    shop: FakeShop, web: Browser, typed: list[tuple[str, str]], words: str
) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    answer = send(web, tree.id, *typed)
    said = Reader(answer.text).text
    assert answer.status_code == 422
    assert words.lower() in said.lower()
    assert "Nothing was changed." in said
    assert spots(shop, tree.id) == [VENT, BODY]
    assert shop.rack.refreshed == []


def test_no_way_takes_a_patched_spot_off(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=10, state="resting", remaining=0.1)
    clearings.add_patch(shop.engine, tree.id, NewPatch("joint:30", 6.0, NOON - HOUR_MS), "", NOON)
    answer = send(web, tree.id, BODY, confirm="yes")
    words = "ent joint (joint:30) of Heron has a patch on it: take the patch back first"
    assert (answer.status_code, words in Reader(answer.text).text) == (409, True)
    changed = {"spots": [{"code": "face", "name": "body"}]}
    assert words in problem(web.ask("PATCH", f"/api/trees/{tree.id}", json=changed), 409)["detail"]
    assert spots(shop, tree.id) == [VENT, BODY]


def test_a_tree_off_the_rack_keeps_its_spots(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    tree_store.take_off(shop.engine, tree.id, "scrapped", NOON, "", "cracked")
    assert web.get(f"/trees/{tree.id}/spots").status_code == 409
    assert send(web, tree.id, BODY).status_code == 409
    assert spots(shop, tree.id) == [VENT, BODY]
    assert f"/trees/{tree.id}/spots" not in web.get(f"/trees/{tree.id}").text


def test_a_joint_that_was_forgotten_is_judged_as_if_it_had_always_been_there(engine: Engine) -> None:
    shop = Shop(engine)
    shop.dip(0.0)
    shop.dip(6.0)
    shop.say(steady(START, 9))
    shop.at(9)
    live = shop.rack()
    assert only(live).slowest_spot == "joint:45"
    spots = (*SPOTS, TreeSpot("joint:25", "cup joint"))
    tree_store.amend_tree(engine, shop.tree.id, now=shop.clock.now(), spots=spots)
    live.refresh(shop.tree.id)
    saved.forget_states(engine, shop.tree.id, 0)
    anew = shop.rack()
    assert (only(live).slowest_spot, only(live).slowest_name) == ("joint:25", "cup joint")
    assert only(live).remaining == only(anew).remaining
    ours, theirs = live.tree(shop.tree.id), anew.tree(shop.tree.id)
    assert ours is not None
    assert theirs is not None
    assert [one.remaining for one in ours.spots] == [one.remaining for one in theirs.spots]
    assert [coat.damp_at_next for coat in ours.coats] == [coat.damp_at_next for coat in theirs.coats]
    for rack in shop.racks:
        rack.close()
