"""Other makers' nodes: set up over the API and on the page, tried first, and kept as they were said."""

import pytest

from sensors.mapping import Field, Mapping, TimeField
from server.store import mappings as mapping_store
from server.store.engine import RefusedError, UnknownError
from tests.service.fake_shop import NOON, Browser, FakeShop

CELLAR = {
    "topic_filter": "house/+/climate",
    "place": "cellar",
    "node": "{1}",
    "fields": [
        {"name": "temperature", "pointer": "/t", "unit": "degF"},
        {"name": "humidity", "pointer": "/h", "unit": "/"},
    ],
    "time": {"pointer": "/at", "unit": "text"},
}
PAYLOAD = '{"t": 70.7, "h": 0.55, "at": "2026-03-02T11:58:00Z"}'
TYPED = {
    "topic_filter": "house/+/climate",
    "place": "cellar",
    "node": "{1}",
    "format": "json",
    "temperature_pointer": "/t",
    "temperature_unit": "degF",
    "humidity_pointer": "/h",
    "humidity_unit": "/",
    "time_unit": "text",
    "time_pointer": "/at",
    "topic": "house/n7/climate",
    "payload": PAYLOAD,
}


def test_a_mapping_is_kept_as_it_was_said_and_removed(shop: FakeShop) -> None:
    fields = (Field("temperature", "/t", "degF", 0.1, -2.0), Field("battery", "/b", "mV"))
    said = Mapping("a/+/b", "cellar", "x-{1}", "json", fields, TimeField("/at", "ms"))
    kept = mapping_store.add_mapping(shop.engine, said, NOON)
    assert mapping_store.mappings(shop.engine) == [kept]
    assert kept.mapping == said
    with pytest.raises(RefusedError, match="has a mapping already, number 1"):
        mapping_store.add_mapping(shop.engine, said, NOON)
    mapping_store.remove_mapping(shop.engine, kept.id, NOON)
    assert mapping_store.mappings(shop.engine) == []
    with pytest.raises(UnknownError, match="there is no mapping 1"):
        mapping_store.remove_mapping(shop.engine, kept.id, NOON)
    assert mapping_store.add_mapping(shop.engine, said, NOON).id == 2


def test_mappings_over_the_api(web: Browser) -> None:
    trial = web.post(
        "/api/mappings/try", json={"mapping": CELLAR, "topic": "house/n7/climate", "payload": PAYLOAD}
    )
    assert trial.json() == {
        "readings": [
            {
                "place": "cellar",
                "node": "n7",
                "name": name,
                "unit": unit,
                "value": value,
                "time": "2026-03-02T11:58:00Z",
            }
            for name, unit, value in (("temperature", "Cel", 21.5), ("humidity", "%RH", 55.0))
        ],
        "rejected": [],
    }
    assert web.get("/api/mappings").json() == []
    added = web.post("/api/mappings", json=CELLAR)
    assert (added.status_code, added.json()["id"]) == (201, 1)
    assert [one["topic_filter"] for one in web.get("/api/mappings").json()] == ["house/+/climate"]
    assert web.post("/api/mappings", json=CELLAR).status_code == 409
    assert web.ask("DELETE", "/api/mappings/1").status_code == 204
    assert web.ask("DELETE", "/api/mappings/1").status_code == 404
    assert web.get("/api/mappings").json() == []


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"topic_filter": "slowcorner/+/+/x"}, "must begin with a level of its own"),
        ({"fields": [{"name": "humidity", "pointer": "h", "unit": "%RH"}]}, "is no JSON pointer"),
        ({"fields": [{"name": "humidity", "pointer": "/h", "unit": "degF"}]}, 'unit "degF" of humidity'),
        ({"fields": []}, "fields"),
        ({"format": "number"}, "a plain number is one quantity"),
    ],
)
def test_what_cannot_be_is_refused_over_the_api(
    web: Browser, changes: dict[str, object], reason: str
) -> None:
    answer = web.post("/api/mappings", json={**CELLAR, **changes})
    assert answer.status_code == 422
    assert reason in answer.json()["detail"]
    assert web.get("/api/mappings").json() == []


def test_a_trial_on_another_topic_says_so(web: Browser) -> None:
    answer = web.post("/api/mappings/try", json={"mapping": CELLAR, "topic": "yard/x", "payload": "{}"})
    assert (answer.status_code, answer.json()["detail"]) == (
        422,
        "topic filter 'house/+/climate' is not for the topic 'yard/x'",
    )


def test_the_page_tries_a_mapping_and_then_uses_it(web: Browser, shop: FakeShop) -> None:
    tried = web.post("/air/other-nodes", data={**TYPED, "try": "yes"})
    assert tried.status_code == 200
    assert "Would be read as: Temperature 21.5 °C at cellar, node n7" in tried.text
    assert 'value="house/+/climate"' in tried.text
    assert mapping_store.mappings(shop.engine) == []
    used = web.post("/air/other-nodes", data=TYPED)
    assert used.status_code == 303
    [kept] = mapping_store.mappings(shop.engine)
    assert kept.mapping.fields == (Field("temperature", "/t", "degF"), Field("humidity", "/h", "/"))
    assert "Humidity in a share of 1 at /h" in web.get("/air/other-nodes").text
    assert web.post("/air/other-nodes/1/remove").status_code == 303
    assert mapping_store.mappings(shop.engine) == []


def test_the_page_keeps_what_was_typed_beside_what_was_wrong(web: Browser, shop: FakeShop) -> None:
    answer = web.post("/air/other-nodes", data={**TYPED, "node": "Cellar 1"})
    assert answer.status_code == 422
    assert "Not used: node &#34;Cellar 1&#34; is not 1 to 64 characters" in answer.text
    assert 'value="Cellar 1"' in answer.text
    assert mapping_store.mappings(shop.engine) == []


def test_a_plain_number_is_read_by_the_page(web: Browser, shop: FakeShop) -> None:
    said = {
        "topic_filter": "loft/rh",
        "place": "cellar",
        "node": "n9",
        "format": "number",
        "plain_is": "humidity",
        "humidity_unit": "%RH",
        "temperature_pointer": "/left/over",
        "temperature_unit": "Cel",
    }
    assert web.post("/air/other-nodes", data=said).status_code == 303
    [kept] = mapping_store.mappings(shop.engine)
    assert kept.mapping == Mapping("loft/rh", "cellar", "n9", "number", (Field("humidity", "", "%RH"),))
