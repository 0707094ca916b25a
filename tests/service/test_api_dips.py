"""Dips over HTTP: what is taken, what is asked, what is refused, and taking a dip back."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS
from server.dip_desk import Saying, take_dip
from server.store import dips as dip_store
from server.store import trees as tree_store
from tests.service.fake_shop import NOON, Browser, FakeShop, problem


def test_a_dip_is_taken_and_undone(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    answer = web.post(f"/api/trees/{tree.id}/dips", json={"pot": "2", "note": "thin", "prewet": True})
    assert answer.status_code == 201
    dip = answer.json()
    assert (dip["coat"], dip["at"], dip["pot"], dip["note"], dip["prewet"]) == (
        1, "2026-03-02T12:00:00Z", "2", "thin", True,
    )  # fmt: skip
    assert shop.rack.refreshed == [tree.id]
    undone = web.ask("DELETE", f"/api/trees/{tree.id}/dips/{dip['id']}")
    assert undone.json()["undone_at"] == "2026-03-02T12:00:00Z"
    assert web.ask("DELETE", f"/api/trees/{tree.id}/dips/{dip['id']}").status_code == 200
    assert dip_store.dips(shop.engine, tree.id) == []
    assert len(dip_store.all_dips(shop.engine, tree.id)) == 1


def test_a_dip_needs_no_body(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    assert web.post(f"/api/trees/{tree.id}/dips").status_code == 201


def test_only_the_latest_dip_is_undone(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.3)
    first = dip_store.dips(shop.engine, tree.id)[0]
    details = problem(web.ask("DELETE", f"/api/trees/{tree.id}/dips/{first.id}"), 409)
    assert "coat 2 is on it" in details["detail"]
    problem(web.ask("DELETE", f"/api/trees/{tree.id}/dips/4711"), 404)


def test_the_same_key_is_the_same_dip(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    key = {"Idempotency-Key": "press-1"}
    first = web.post(f"/api/trees/{tree.id}/dips", headers=key)
    shop.clock.advance(20 * MINUTE_MS)
    again = web.post(f"/api/trees/{tree.id}/dips", headers=key)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert len(dip_store.all_dips(shop.engine, tree.id)) == 1


def test_a_key_that_was_undone_makes_no_second_dip(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    key = {"Idempotency-Key": "press-1"}
    dip = web.post(f"/api/trees/{tree.id}/dips", headers=key).json()
    web.ask("DELETE", f"/api/trees/{tree.id}/dips/{dip['id']}")
    again = web.post(f"/api/trees/{tree.id}/dips", headers=key)
    assert again.status_code == 200
    assert again.json()["undone_at"] is not None


def test_a_dip_on_a_damp_coat_is_a_question(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.34)
    details = problem(web.post(f"/api/trees/{tree.id}/dips"), 409)
    assert details["question"] == "About a third is left at the vent joint: dip anyway?"
    assert len(dip_store.dips(shop.engine, tree.id)) == 2
    assert web.post(f"/api/trees/{tree.id}/dips", json={"confirm": True}).status_code == 201
    assert len(dip_store.dips(shop.engine, tree.id)) == 3


def test_a_dip_twice_within_a_minute_is_a_question(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    web.post(f"/api/trees/{tree.id}/dips")
    shop.clock.advance(30_000)
    details = problem(web.post(f"/api/trees/{tree.id}/dips"), 409)
    assert "less than a minute before" in details["question"]


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ("2026-03-02T12:02:00Z", "in the future"),
        ("2026-03-02T08:00:00Z", "is not after coat 2 of Heron"),
        ("2025-03-02T08:00:00Z", "more than 90 days"),
        ("2026-03-02T12:00:00", "timezone"),
        ("1999-12-31T12:00:00Z", "2000 to 2200"),
        ("soon", "datetime"),
    ],
)
def test_a_dip_at_an_impossible_time_is_refused(shop: FakeShop, web: Browser, at: str, words: str) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.3)
    details = problem(web.post(f"/api/trees/{tree.id}/dips", json={"at": at, "confirm": True}), 422)
    assert words in details["detail"]
    assert len(dip_store.dips(shop.engine, tree.id)) == 2


def test_a_cleared_tree_takes_no_dip(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2)
    tree_store.take_off(shop.engine, tree.id, "cleared", NOON, "Ada", "dry by scale")
    details = problem(web.post(f"/api/trees/{tree.id}/dips", json={"confirm": True}), 409)
    assert "cleared and takes no more dips" in details["detail"]


def test_no_coat_is_left_after_the_last(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Teal", "A1", coats=10, state="resting", remaining=0.1)
    details = problem(web.post(f"/api/trees/{tree.id}/dips", json={"confirm": True}), 409)
    assert details["type"] == "urn:slowcorner:problem:no-coat-left"


def test_the_next_dip_is_asked_in_one_step(shop: FakeShop, web: Browser) -> None:
    """The rack is judged anew before the answer, so the tree a caster sees is never the one before the
    dip."""
    fit = Quantiles(NOON - HOUR_MS, NOON - HOUR_MS, NOON - HOUR_MS)
    tree = shop.hang("Heron", "A1", coats=2, state="fit", fit=fit, remaining=0.04)
    shop.rack.on_refresh = lambda tree_id: shop.judge(tree, "drying", remaining=1.0)
    assert web.post(f"/api/trees/{tree.id}/dips").status_code == 201
    assert web.get("/api/rack").json()["trees"][0]["coat"] == 3


def test_two_phones_at_once_make_one_dip_and_one_question(shop: FakeShop) -> None:
    """Both ask before either is written down; deciding and keeping are one step, so only one is taken."""
    tree = shop.hang("Heron", "A1")
    ready = threading.Barrier(2, timeout=10)

    def press(_: int) -> object:
        ready.wait()
        return take_dip(shop.parts, tree.id, Saying())

    with ThreadPoolExecutor(2) as phones:
        answers = list(phones.map(press, range(2)))
    assert sorted(type(answer).__name__ for answer in answers) == ["Kept", "Question"]
    assert len(dip_store.dips(shop.engine, tree.id)) == 1
