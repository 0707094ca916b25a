"""The HTTP API over a real store: what goes in, what comes out, and what is refused in plain words.

The calls and their answers are those of our own contract; RFC 9457 is the source for problem details, RFC
8428 for packs of readings.
"""

from typing import Any

import pytest

from server.parts import Readiness
from server.store import recipes as recipe_store
from server.store import subscriptions as subscription_store
from tests.service.fake_shop import Browser, FakeShop, furnished, problem

TREE = {
    "label": "Heron",
    "hook": "A1",
    "place": "drying-room",
    "recipe": 1,
    "size_mm": 25,
    "spots": [{"code": "joint:30.0", "name": "vent joint"}, {"code": "face", "name": "body"}],
}


def test_the_rack_comes_next_first(shop: FakeShop, web: Browser) -> None:
    furnished(shop)
    answer = web.get("/api/rack").json()
    assert answer["as_of"] == "2026-03-02T12:00:00Z"
    assert answer["clock_rate"] == 1.0
    assert [tree["label"] for tree in answer["trees"]][:3] == ["Heron", "Bittern", "Snipe"]
    first = answer["trees"][0]
    assert set(first) == {
        "id", "label", "hook", "place", "coat", "of", "kind", "state", "slowest_spot", "remaining", "fit_at",
        "reason",
    }  # fmt: skip
    assert first["state"] == "fit"
    assert (first["coat"], first["of"], first["kind"]) == (4, 10, "backup")
    assert first["slowest_spot"] == "joint:30"
    assert first["fit_at"] == dict.fromkeys(("p10", "p50", "p90"), "2026-03-02T11:38:00Z")
    assert answer["trees"][2]["fit_at"]["p90"] is None


def test_a_tree_is_hung_and_read_back(shop: FakeShop, web: Browser) -> None:
    answer = web.post("/api/trees", json=TREE)
    assert answer.status_code == 201
    tree = answer.json()
    assert answer.headers["location"] == f"/api/trees/{tree['id']}"
    assert tree["spots"][0] == {"code": "joint:30", "name": "vent joint"}  # the canonical code
    assert web.get(answer.headers["location"]).json() == tree
    assert shop.rack.refreshed == [tree["id"]]
    assert len(tree["recipe"]["coats"]) == 10


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"spots": [{"code": "joint:0", "name": "x"}]}, ["joint angle 0°", "15° to 150°"]),
        ({"spots": [{"code": "joint:181", "name": "x"}]}, ["joint angle 181°", "15° to 150°"]),
        ({"spots": [{"code": "nose", "name": "x"}]}, ["'nose'"]),
        ({"spots": []}, ["spots"]),
        ({"spots": [{"code": "face", "name": "a"}, {"code": "edge", "name": "b"}]}, ["face is there twice"]),
        ({"size_mm": 0}, ["size_mm", "1"]),
        ({"size_mm": 1e9}, ["size_mm", "2000"]),
        ({"wax_kg": -1}, ["wax_kg", "0"]),
        ({"place": "attic"}, ["no place 'attic'"]),
        ({"recipe": 77}, ["no recipe 77"]),
        ({"label": ""}, ["label"]),
        ({"label": "He\nron"}, ["one line"]),
        ({"colour": "grey"}, ["colour"]),
    ],
)
def test_a_tree_that_cannot_be_is_refused_by_name(web: Browser, change: Any, words: list[str]) -> None:
    details = problem(web.post("/api/trees", json=TREE | change), 422)
    for word in words:
        assert word in details["detail"]


@pytest.mark.parametrize("figure", ["NaN", "Infinity", "-Infinity"])
def test_no_number_is_not_a_size(web: Browser, figure: str) -> None:
    # JSON has no such numbers (RFC 8259, 6), though Python's reader takes them.
    body = f'{{"label":"H","hook":"A1","place":"drying-room","recipe":1,"size_mm":{figure},"spots":[]}}'
    problem(web.post("/api/trees", content=body, headers={"content-type": "application/json"}), 422)


def test_a_hook_holds_one_tree(shop: FakeShop, web: Browser) -> None:
    shop.hang("Bittern", "A1")
    details = problem(web.post("/api/trees", json=TREE), 409)
    assert "hook A1 is taken: Bittern hangs there" in details["detail"]


def test_a_tree_is_amended(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    answer = web.ask("PATCH", f"/api/trees/{tree.id}", json={"hook": "B7", "size_mm": 40})
    assert (answer.json()["hook"], answer.json()["size_mm"], answer.json()["label"]) == ("B7", 40, "Heron")
    assert tree.id in shop.rack.refreshed
    problem(web.ask("PATCH", f"/api/trees/{tree.id}", json={"size_mm": -1}), 422)
    problem(web.ask("PATCH", f"/api/trees/{tree.id}", json={"place": "attic"}), 422)
    problem(web.ask("PATCH", "/api/trees/999", json={"hook": "B7"}), 404)


def test_a_tree_goes_on_by_another_recipe(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", 3)
    short = recipe_store.add_recipe(shop.engine, "Six", tree.recipe.coats[:6])
    two = recipe_store.add_recipe(shop.engine, "Two", tree.recipe.coats[:2])
    answer = web.ask("PATCH", f"/api/trees/{tree.id}", json={"recipe": short.id})
    assert (answer.json()["recipe"]["name"], len(answer.json()["recipe"]["coats"])) == ("Six", 6)
    refused = problem(web.ask("PATCH", f"/api/trees/{tree.id}", json={"recipe": two.id}), 409)
    assert refused["detail"] == "Heron has 3 coats on, and recipe 'Two' only 2"
    problem(web.ask("PATCH", f"/api/trees/{tree.id}", json={"recipe": 999}), 422)


KEYS = {"p256dh": "B" * 87, "auth": "c" * 22}


def test_a_phone_asks_to_be_told(shop: FakeShop, web: Browser) -> None:
    asked = {"endpoint": "https://push.example/x", "keys": KEYS, "expirationTime": None}
    first = web.post("/api/push/subscriptions", json=asked)
    assert first.status_code == 201
    assert web.post("/api/push/subscriptions", json=asked).json() == first.json()
    kept = subscription_store.subscriptions(shop.engine)
    assert [(one.endpoint, one.auth) for one in kept] == [("https://push.example/x", "c" * 22)]


@pytest.mark.parametrize(
    "endpoint", ["http://push.example/x", "ftp://x/y", "https://", "http://10.1.2.3/x", "x"]
)
def test_notices_go_nowhere_in_the_clear(shop: FakeShop, web: Browser, endpoint: str) -> None:
    problem(web.post("/api/push/subscriptions", json={"endpoint": endpoint, "keys": KEYS}), 422)
    assert subscription_store.subscriptions(shop.engine) == []


def test_health(shop: FakeShop, web: Browser) -> None:
    assert web.get("/healthz").json() == {"status": "live"}
    assert web.get("/readyz").json() == {"status": "ready"}
    shop.readiness = Readiness(False, ("no air in the cellar for 95 min, the limit is 90 min",))
    details = problem(web.get("/readyz"), 503)
    assert details["reasons"] == ["no air in the cellar for 95 min, the limit is 90 min"]


def test_openapi_describes_what_was_promised_and_its_problems(web: Browser) -> None:
    schema = web.get("/api/openapi.json").json()
    calls = {(method.upper(), path) for path, item in schema["paths"].items() for method in item}
    assert {
        ("GET", "/api/rack"), ("POST", "/api/trees"), ("GET", "/api/trees/{tree_id}"),
        ("PATCH", "/api/trees/{tree_id}"), ("POST", "/api/trees/{tree_id}/dips"),
        ("DELETE", "/api/trees/{tree_id}/dips/{dip_id}"), ("GET", "/api/trees/{tree_id}/history"),
        ("GET", "/api/places"), ("GET", "/api/places/{place}/air"), ("GET", "/api/nodes"),
        ("GET", "/api/nodes/{node}/readings"), ("POST", "/api/readings"), ("POST", "/api/push/subscriptions"),
        ("GET", "/healthz"), ("GET", "/readyz"), ("GET", "/api/trees/{tree_id}/what-if"),
        ("GET", "/api/beliefs"), ("PATCH", "/api/beliefs"), ("GET", "/api/advice"),
        ("POST", "/api/trees/{tree_id}/weighings"), ("POST", "/api/trees/{tree_id}/surface-temps"),
        ("POST", "/api/trees/{tree_id}/touches"), ("POST", "/api/trees/{tree_id}/colours"),
        ("GET", "/api/trees/{tree_id}/measurements"),
        ("DELETE", "/api/trees/{tree_id}/measurements/{measurement_id}"),
        ("GET", "/api/places/{place}/learned"), ("POST", "/api/places/{place}/forget"),
        ("GET", "/api/mappings"), ("POST", "/api/mappings"), ("POST", "/api/mappings/try"),
        ("DELETE", "/api/mappings/{mapping_id}"), ("PUT", "/api/nodes/{place}/{node}"),
        ("GET", "/api/nodes/{node}/calibrations"), ("POST", "/api/nodes/{node}/calibrations"),
        ("DELETE", "/api/nodes/{node}/calibrations/{calibration_id}"),
    } <= calls  # fmt: skip
    assert "HTTPValidationError" not in str(schema["paths"])
    assert {"Problem", "FieldFault"} <= set(schema["components"]["schemas"])


def test_unknown_addresses_and_methods_are_problems(web: Browser) -> None:
    problem(web.get("/api/nothing"), 404)
    problem(web.ask("PUT", "/api/rack"), 405)
    problem(web.get("/api/trees/0"), 422)
    problem(web.get("/api/trees/99999999999999999999"), 422)


def test_a_fault_of_our_own_tells_nothing_of_the_inside(shop: FakeShop, web: Browser) -> None:
    shop.rack.verdicts[1] = None  # type: ignore[assignment]
    details = problem(web.get("/api/rack"), 500)
    assert "Traceback" not in str(details)
    assert "NoneType" not in str(details)
