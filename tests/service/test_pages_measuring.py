"""The page of measurements: forms that keep, faults that say why, what was learned, and forgetting it."""

from dataclasses import fields

import pytest

from sensors.clock import HOUR_MS
from server.believing import believed, prior_ensemble
from server.drying.materials import Members
from server.shop_settings import keep_settings
from server.store import ensembles
from server.store import measurements as measurement_store
from server.store.values import Generation, NewMeasurement
from server.verdicts import Advice
from tests.service.fake_shop import NOON, Browser, FakeShop, problem


def test_a_tree_with_a_coat_leads_to_its_measurements(shop: FakeShop, web: Browser) -> None:
    bare, tree = shop.hang("Dunlin", "B2"), shop.hang("Heron", "A1", coats=1, state="drying", remaining=0.5)
    assert f'href="/trees/{tree.id}/measure"' in web.get(f"/trees/{tree.id}").text
    assert "/measure" not in web.get(f"/trees/{bare.id}").text


def test_forms_keep_each_kind_once(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    path = f"/trees/{tree.id}/measurements"
    forms = [
        {"kind": "weighing", "value": "2.415"},
        {"kind": "touch", "spot": "joint:30", "word": "damp"},
        {"kind": "colour", "spot": "face", "word": "pale"},
        {"kind": "surface_temp", "spot": "face", "value": "17.5", "reference_c": ""},
    ]
    for form in forms:
        for _ in range(2):
            answer = web.post(path, data={**form, "key": "page-1-0", "ago_min": "10"})
            assert answer.status_code == 303, answer.text
    kept = measurement_store.measurements(shop.engine, tree.id)
    assert sorted(one.kind for one in kept) == ["colour", "surface_temp", "touch", "weighing"]
    assert {one.at for one in kept} == {NOON - HOUR_MS // 6}
    page = web.get(f"/trees/{tree.id}/measure").text
    for words in ("2.415 kg", "damp to the touch at the vent joint", "gone pale at the body", "17.5 °C"):
        assert words in page


def test_what_is_typed_is_in_the_units_of_the_shop(shop: FakeShop, web: Browser) -> None:
    keep_settings(shop.engine, {"temperature_unit": "F", "mass_unit": "lb"})
    tree = shop.hang("Heron", "A1", coats=1)
    path = f"/trees/{tree.id}/measurements"
    assert "Scale [lb]" in web.get(f"/trees/{tree.id}/measure").text
    web.post(path, data={"kind": "weighing", "value": "10", "key": "a"})
    web.post(
        path, data={"kind": "surface_temp", "spot": "face", "value": "63.5", "reference_c": "68", "key": "b"}
    )
    kept = {one.kind: one for one in measurement_store.measurements(shop.engine, tree.id)}
    assert kept["weighing"].value == pytest.approx(4.5359237)
    assert kept["surface_temp"].value == pytest.approx(17.5)
    assert kept["surface_temp"].reference_c == pytest.approx(20.0)
    page = web.get(f"/trees/{tree.id}/measure").text
    assert "10.000 lb" in page
    assert "63.5 °F at the body, a dry shell 68.0 °F" in page
    refused = web.post(path, data={"kind": "surface_temp", "spot": "face", "value": "400", "key": "c"})
    assert "Surface of 400.0 °F is outside -4 to 176 °F" in refused.text


def test_what_cannot_be_is_said_on_the_page(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    answer = web.post(f"/trees/{tree.id}/measurements", data={"kind": "weighing", "value": "900", "key": "k"})
    assert answer.status_code == 422
    assert "Weighing 900.0 kg is outside 0 to 500 kg. Nothing was written down." in answer.text
    assert measurement_store.measurements(shop.engine, tree.id) == []


def test_one_is_taken_back_and_shown_so(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    web.post(f"/trees/{tree.id}/measurements", data={"kind": "weighing", "value": "2", "key": "k"})
    page = web.get(f"/trees/{tree.id}/measure").text
    assert "/undo" in page
    assert web.post(f"/trees/{tree.id}/measurements/1/undo").status_code == 303
    page = web.get(f"/trees/{tree.id}/measure").text
    assert "taken back" in page
    assert "/undo" not in page


def believe(shop: FakeShop, tree_id: int) -> None:
    """The cellar of a shop whose air was found to be half as fast again, and one weighing absurd."""
    for kg in (2.0, 3.0):
        measurement_store.add_measurement(
            shop.engine, NewMeasurement(tree_id, "weighing", NOON - HOUR_MS, NOON, value=kg)
        )
    prior = prior_ensemble(shop.engine, believed(shop.engine))
    members = {item.name: getattr(prior.members, item.name).tolist() for item in fields(Members)}
    members["air_speed"] = [1.5 + 0.01 * (index % 3) for index in range(prior.count)]
    weights = (1.0 / prior.count,) * prior.count
    said = Generation("drying-room", 1, prior.seed, "measured", NOON, members, weights, ((1, 0.1), (2, 0.98)))
    ensembles.keep_generation(shop.engine, said)


def test_what_was_learned_is_told_with_its_evidence(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    believe(shop, tree.id)
    page = web.get(f"/trees/{tree.id}/measure").text
    assert "The air moves 1.5 x what was set for it, ± 0.01." in page
    assert "From 1 weighing on Heron." in page
    assert page.count("disbelieved: it does not go with the rest") == 1
    told = web.get("/api/places/drying-room/learned").json()
    assert told["learned"] == ["the air moves 1.5 x what was set for it, ± 0.01"]
    assert (told["evidence"], told["disbelieved"], told["generation"]) == ("1 weighing on Heron", [2], 1)
    assert web.get("/api/places/cellar/learned").json()["learned"] == []
    problem(web.get("/api/places/attic/learned"), 404)


def test_it_can_be_forgotten(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    believe(shop, tree.id)
    assert 'action="/places/drying-room/forget"' in web.get(f"/trees/{tree.id}/measure").text
    assert web.post("/places/drying-room/forget", data={"tree": str(tree.id)}).status_code == 303
    assert web.post("/api/places/drying-room/forget").status_code == 202
    assert shop.rack.learned == [("drying-room", "forgotten")] * 2


def test_the_measurement_that_tells_most_is_asked_for(shop: FakeShop, web: Browser) -> None:
    tree, other = shop.hang("Heron", "A1", coats=1), shop.hang("Snipe", "A2", coats=1)
    assert web.get("/api/advice").json() == {"advice": None}
    shop.rack.advised = Advice(tree.id, "touch", "joint:30", NOON + 2 * HOUR_MS, 0.7)
    asked = "Touch Heron at the vent joint: damp or dry? Best at about 16:00"
    for path in (f"/trees/{tree.id}", f"/trees/{tree.id}/measure"):
        assert asked in web.get(path).text
    assert "damp or dry?" not in web.get(f"/trees/{other.id}").text
    answer = web.get("/api/advice").json()["advice"]
    assert (answer["tree"], answer["kind"], answer["spot"], answer["narrowed"]) == (
        tree.id,
        "touch",
        "joint:30",
        0.7,
    )
