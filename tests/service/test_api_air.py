"""Air, nodes and readings over HTTP. RFC 8428 is the source for packs, RFC 8288 for links to a next page."""

import pytest

from sensors.clock import HOUR_MS, MINUTE_MS, format_time
from sensors.reading import Reading
from server.store import readings as reading_store
from tests.service.fake_shop import NOON, Browser, FakeShop, problem


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
        {
            "place": "cellar",
            "node": "wall",
            "status": "unheard",
            "last_heard": "2026-03-02T11:59:00Z",
            "faults": [],
        }
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
