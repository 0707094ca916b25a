"""What people measure: kept as it was said, refused where it cannot be, taken back, learned from."""

import json

import pytest

from sensors.clock import HOUR_MS, MINUTE_MS, format_time
from server.store import dips as dip_store
from server.store import ensembles
from server.store import measurements as measurement_store
from server.store import trees as tree_store
from server.store.engine import RefusedError, UnknownError
from server.store.values import Generation, NewDip, NewTree, TreeSpot
from tests.service.fake_shop import NOON, Browser, FakeShop, problem


def test_each_kind_is_kept_as_it_was_said(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.4)
    at = format_time(NOON - HOUR_MS)
    calls: dict[str, dict[str, object]] = {
        "weighings": {"at": at, "kg": 3.415},
        "surface-temps": {"at": at, "spot": "joint:30", "temp_c": 17.5, "reference_c": 20.5},
        "touches": {"at": at, "spot": "joint:30", "felt": "damp"},
        "colours": {"at": at, "spot": "face", "seen": "pale"},
    }
    for call, said in calls.items():
        answer = web.post(f"/api/trees/{tree.id}/{call}", json=said)
        assert answer.status_code == 201, answer.text
        kept = answer.json()
        for name, value in said.items():
            assert kept[name] == value
    listed = web.get(f"/api/trees/{tree.id}/measurements").json()["measurements"]
    assert [one["kind"] for one in listed] == ["weighing", "surface_temp", "touch", "colour"]
    assert shop.rack.learned == [("drying-room", "measured")] * 4


def test_now_is_meant_where_no_time_is_said(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    kept = web.post(f"/api/trees/{tree.id}/weighings", json={"kg": 2.5}).json()
    assert kept["at"] == kept["said_at"] == format_time(NOON)


@pytest.mark.parametrize(
    ("call", "said", "fault"),
    [
        ("weighings", {"kg": 0.9}, "lighter than the wax of Heron alone, 1.2 kg"),
        ("weighings", {"kg": 0}, "kg: "),
        ("weighings", {"kg": 501}, "kg: "),
        ("weighings", {"kg": "NaN"}, "kg: "),
        ("weighings", {"kg": 3, "at": format_time(NOON + HOUR_MS)}, "60 min in the future"),
        ("weighings", {"kg": 3, "at": format_time(NOON - 9 * HOUR_MS)}, "360 min before its first dip"),
        ("touches", {"spot": "joint:45", "felt": "dry"}, "none of Heron's: joint:30, face"),
        ("touches", {"spot": "joint:5", "felt": "dry"}, "15° to 150°"),
        ("touches", {"spot": "face", "felt": "moist"}, "damp"),
        ("colours", {"spot": "face", "seen": "blue"}, "dark"),
        ("surface-temps", {"spot": "face", "temp_c": 95}, "95 °C is outside -20 to 80 °C"),
        ("surface-temps", {"spot": "face", "temp_c": 20, "reference_c": -30}, "-30 °C is outside"),
        ("surface-temps", {"spot": "face", "temp_c": 20, "at": "2026-03-02T11:00:00"}, "at: "),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_kept(
    shop: FakeShop, web: Browser, call: str, said: dict[str, object], fault: str
) -> None:
    spots = (TreeSpot("joint:30", "vent joint"), TreeSpot("face", "body"))
    new = NewTree("Heron", "A1", "drying-room", shop.recipe.id, 25.0, spots, wax_kg=1.2)
    tree = tree_store.add_tree(shop.engine, new, NOON - 5 * HOUR_MS)
    at = NOON - 3 * HOUR_MS
    dip_store.add_dip(shop.engine, NewDip(tree.id, at, at))
    details = problem(web.post(f"/api/trees/{tree.id}/{call}", json=said), 422)
    assert fault in details["detail"]
    assert measurement_store.measurements(shop.engine, tree.id) == []
    assert shop.rack.learned == []


def test_a_tree_with_no_coat_has_nothing_to_tell(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Dunlin", "B2")
    details = problem(web.post(f"/api/trees/{tree.id}/weighings", json={"kg": 2}), 422)
    assert "no coat on yet" in details["detail"]
    problem(web.post("/api/trees/99/weighings", json={"kg": 2}), 404)


def test_a_tree_off_the_rack_takes_no_measurement(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    tree_store.take_off(shop.engine, tree.id, "scrapped", NOON, "Ada", "fell")
    problem(web.post(f"/api/trees/{tree.id}/weighings", json={"kg": 2}), 409)


def test_the_same_key_is_the_same_measurement(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    headers = {"Idempotency-Key": "w1"}
    first = web.post(f"/api/trees/{tree.id}/weighings", json={"kg": 2.0}, headers=headers)
    again = web.post(f"/api/trees/{tree.id}/weighings", json={"kg": 2.0}, headers=headers)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert shop.rack.learned == [("drying-room", "measured")]


def test_one_taken_back_stays_in_the_record_and_no_longer_counts(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    kept = web.post(f"/api/trees/{tree.id}/weighings", json={"kg": 2.0}).json()
    assert len(measurement_store.place_measurements(shop.engine, "drying-room")) == 1
    path = f"/api/trees/{tree.id}/measurements/{kept['id']}"
    undone = web.ask("DELETE", path).json()
    assert undone["undone_at"] == format_time(NOON)
    assert web.ask("DELETE", path).json() == undone
    assert measurement_store.place_measurements(shop.engine, "drying-room") == []
    assert len(measurement_store.measurements(shop.engine, tree.id)) == 1
    assert shop.rack.learned == [("drying-room", "measured"), ("drying-room", "undone")]
    problem(web.ask("DELETE", f"/api/trees/{tree.id}/measurements/77"), 404)
    other = shop.hang("Snipe", "A2", coats=1)
    with pytest.raises(UnknownError):
        measurement_store.undo_measurement(shop.engine, other.id, kept["id"], NOON)


def test_generations_follow_each_other_and_come_back_to_the_bit(shop: FakeShop) -> None:
    members = {"air_speed": [0.1 + 0.2, 1 / 3], "water": [[1.0, 0.9, 1e-17], [1.1, 2 / 3, 3.0]]}
    said = Generation("cellar", 1, 2606, "measured", NOON, members, (0.1, 0.9), ((3, 0.25),))
    ensembles.keep_generation(shop.engine, said)
    assert ensembles.latest(shop.engine, "cellar") == said
    assert ensembles.latest(shop.engine, "drying-room") is None
    with pytest.raises(RefusedError, match="generation 1 does not follow 1"):
        ensembles.keep_generation(shop.engine, said)
    assert json.dumps(ensembles.generations(shop.engine, "cellar")[0].members) == json.dumps(members)


def test_a_phone_a_little_ahead_is_not_in_the_future(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    said = {"kg": 2.0, "at": format_time(NOON + MINUTE_MS // 2)}
    assert web.post(f"/api/trees/{tree.id}/weighings", json=said).status_code == 201
