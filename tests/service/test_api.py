"""The HTTP API over a real store: what goes in, what comes out, and what is refused in plain words.

The calls and their answers are those of our own contract; RFC 9457 is the source for problem details, RFC
8428 for packs of readings.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import Engine

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS, format_time
from sensors.reading import Reading
from server.parts import Readiness
from server.store import dips as dip_store
from server.store import readings as reading_store
from server.store import subscriptions as subscription_store
from server.store import trees as tree_store
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished

TREE = {
    "label": "Heron",
    "hook": "A1",
    "place": "drying-room",
    "recipe": 1,
    "size_mm": 25,
    "spots": [{"code": "joint:30.0", "name": "vent joint"}, {"code": "face", "name": "body"}],
}


@pytest.fixture
def shop(engine: Engine) -> FakeShop:
    return FakeShop(engine)


@pytest.fixture
def web(shop: FakeShop) -> Iterator[Browser]:
    with Browser(shop) as browser:
        yield browser


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The problem details of an answer; checks what RFC 9457 3.1 asks of them."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    details: dict[str, Any] = answer.json()
    assert details["status"] == status
    assert details["title"]
    assert details["detail"]
    return details


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


def test_history_tells_coats_air_and_gaps(shop: FakeShop, web: Browser) -> None:
    shop.blow("drying-room", 30, gap=(2.0, 1.0))
    tree = shop.hang("Heron", "A1", coats=3, state="drying", remaining=0.3)
    answer = web.get(f"/api/trees/{tree.id}/history").json()
    assert [coat["number"] for coat in answer["coats"]] == [1, 2, 3]
    latest = answer["coats"][-1]
    assert latest["dipped_at"] == format_time(NOON - 3 * HOUR_MS)
    assert latest["gaps"] == [{"from": "2026-03-02T10:00:00Z", "to": "2026-03-02T11:10:00Z"}]
    assert len(latest["air"]) == 18
    assert answer["coats"][1]["warnings"] == ["Dipped on a damp coat."]
    assert len(answer["dips"]) == 3
    problem(web.get("/api/trees/999/history"), 404)


def test_places_and_their_air(shop: FakeShop, web: Browser) -> None:
    shop.blow("drying-room", 4, gap=(2.0, 1.0))
    places = {place["id"]: place for place in web.get("/api/places").json()}
    assert places["drying-room"]["latest"]["time"] == "2026-03-02T11:50:00Z"
    assert places["cellar"]["latest"] is None
    answer = web.get("/api/places/drying-room/air", params={"from": format_time(NOON - 3 * HOUR_MS)}).json()
    assert len(answer["air"]) == 18
    assert len(answer["gaps"]) == 1
    problem(web.get("/api/places/attic/air"), 404)
    details = problem(
        web.get(
            "/api/places/cellar/air", params={"from": "2026-03-02T12:00:00Z", "to": "2026-03-02T11:00:00Z"}
        ),
        422,
    )
    assert "is after to" in details["detail"]
    long = {"from": "2026-01-01T00:00:00Z", "to": "2026-03-01T00:00:00Z"}
    assert "31 days" in problem(web.get("/api/places/cellar/air", params=long), 422)["detail"]
    problem(web.get("/api/places/cellar/air", params={"from": "2026-03-02T12:00:00"}), 422)


def said(count: int) -> list[Reading]:
    return [
        Reading("cellar", "wall", name, unit, 10.0 + number, NOON - (count - number) * MINUTE_MS)
        for number in range(count)
        for name, unit in (("temperature", "Cel"), ("humidity", "%RH"))
    ]


def test_readings_come_in_pages_that_join_without_seam(shop: FakeShop, web: Browser) -> None:
    readings = said(130)
    reading_store.keep(shop.engine, readings, (), (), NOON)
    path, pages, found = "/api/nodes/wall/readings?limit=101", 0, []
    while path:
        answer = web.get(path)
        pages += 1
        found += answer.json()
        link = answer.headers.get("link", "")
        assert link == "" or link.endswith('; rel="next"')  # RFC 8288
        path = link.partition(">")[0].removeprefix("<")
    assert pages == 3
    assert len(found) == len(readings)
    assert len({(one["time"], one["name"]) for one in found}) == len(readings)
    assert found[0] == {
        "time": format_time(readings[0].time), "name": "humidity", "unit": "%RH", "value": 10.0,
    }  # fmt: skip


def test_readings_come_as_csv_where_that_is_asked_for(shop: FakeShop, web: Browser) -> None:
    reading_store.keep(shop.engine, said(1), (), (), NOON)
    answer = web.get("/api/nodes/wall/readings", headers={"accept": "text/csv"})
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.text.splitlines() == [
        "time,name,unit,value",
        "2026-03-02T11:59:00Z,humidity,%RH,10.0",
        "2026-03-02T11:59:00Z,temperature,Cel,10.0",
    ]


def test_nodes_and_bounds_of_their_readings(shop: FakeShop, web: Browser) -> None:
    reading_store.keep(shop.engine, said(1), (), (), NOON)
    assert web.get("/api/nodes").json() == [
        {"place": "cellar", "node": "wall", "status": "unheard", "last_heard": "2026-03-02T11:59:00Z"}
    ]
    problem(web.get("/api/nodes/nobody/readings"), 404)
    for limit in ("0", "99", "10001", "many"):
        problem(web.get("/api/nodes/wall/readings", params={"limit": limit}), 422)


PACK = [
    {"bn": "cellar/wall/", "n": "temperature", "u": "Cel", "v": 14.5},
    {"n": "humidity", "u": "%RH", "v": 140},
]


def test_a_pack_is_taken_over_http(shop: FakeShop, web: Browser) -> None:
    answer = web.post("/api/readings", json=PACK)
    assert answer.status_code == 201
    assert answer.json()["taken"] == 1
    assert "humidity 140 %RH is outside" in answer.json()["rejected"][0]["reason"]
    kept = reading_store.node_readings(shop.engine, "wall", NOON - HOUR_MS, NOON + HOUR_MS)
    assert [(one.place, one.value) for one in kept] == [("cellar", 14.5)]
    assert reading_store.rejected_count(shop.engine) == 1


def test_the_query_may_name_the_node(shop: FakeShop, web: Browser) -> None:
    pack = [{"n": "temperature", "u": "Cel", "v": 14.5}]
    assert web.post("/api/readings?place=cellar&node=door", json=pack).status_code == 201
    assert [node.node for node in reading_store.nodes(shop.engine)] == ["door"]


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"not json", "not JSON"),
        (b"{}", "list of records"),
        (b"", "empty"),
        (b"\xff\xfe", "not UTF-8"),
        (b'[{"n":"temperature","u":"Cel","v":20}]', "say which node it is"),
        (b'[{"bn":"rack/x/","n":"temperature","u":"Cel","v":20}]', "rack"),
        (b'[{"bn":"cellar/wall/","n":"temperature","u":"Cel","v":NaN}]', "NaN"),
        (b'[{"bn":"cellar/wall/","n":"temperature","u":"degF","v":20}]', "degF"),
    ],
)
def test_a_pack_that_cannot_be_taken_is_kept_with_its_reason(
    shop: FakeShop, web: Browser, payload: bytes, words: str
) -> None:
    details = problem(web.post("/api/readings", content=payload), 422)
    assert words.lower() in details["detail"].lower()
    kept = reading_store.rejections(shop.engine, 5)
    assert [one.source for one in kept] == ["POST /api/readings"]
    assert words.lower() in kept[0].reason.lower()


def test_a_pack_of_ten_megabytes_is_refused_unread(shop: FakeShop, web: Browser) -> None:
    details = problem(web.post("/api/readings", content=b"[" + b" " * 10_000_000), 413)
    assert details["detail"]
    assert reading_store.rejected_count(shop.engine) == 0


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


def test_openapi_describes_every_call_and_its_problems(web: Browser) -> None:
    schema = web.get("/api/openapi.json").json()
    calls = {(method.upper(), path) for path, item in schema["paths"].items() for method in item}
    assert {
        ("GET", "/api/rack"), ("POST", "/api/trees"), ("GET", "/api/trees/{tree_id}"),
        ("PATCH", "/api/trees/{tree_id}"), ("POST", "/api/trees/{tree_id}/dips"),
        ("DELETE", "/api/trees/{tree_id}/dips/{dip_id}"), ("GET", "/api/trees/{tree_id}/history"),
        ("GET", "/api/places"), ("GET", "/api/places/{place}/air"), ("GET", "/api/nodes"),
        ("GET", "/api/nodes/{node}/readings"), ("POST", "/api/readings"), ("POST", "/api/push/subscriptions"),
        ("GET", "/healthz"), ("GET", "/readyz"),
    } == calls  # fmt: skip
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


def test_the_next_dip_is_asked_in_one_step(shop: FakeShop, web: Browser) -> None:
    """The rack is judged anew before the answer, so the tree a caster sees is never the one before the
    dip."""
    fit = Quantiles(NOON - HOUR_MS, NOON - HOUR_MS, NOON - HOUR_MS)
    tree = shop.hang("Heron", "A1", coats=2, state="fit", fit=fit, remaining=0.04)
    shop.rack.on_refresh = lambda tree_id: shop.judge(tree, "drying", remaining=1.0)
    assert web.post(f"/api/trees/{tree.id}/dips").status_code == 201
    assert web.get("/api/rack").json()["trees"][0]["coat"] == 3
