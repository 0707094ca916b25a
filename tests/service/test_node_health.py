"""What is the matter with a node, on the air page and over the API."""

from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS
from sensors.reading import NodeStatus, Reading
from server.node_health import node_health
from server.store import nodes as node_store
from server.store import readings as reading_store
from server.store.nodes import NodeSettings
from server.verdicts import NodeFault
from tests.service.fake_shop import NOON, Browser, FakeShop

WRONG = NodeFault(
    "drying-room",
    "north",
    "disagreeing",
    NOON - 3 * HOUR_MS,
    None,
    "says 71 %RH where the others say 50 %RH",
    True,
)


def say(shop: FakeShop, node: str, minutes: int, count: int = 10, late_min: float = 0.0) -> None:
    """A node's last words, a minute apart, up to so many minutes ago."""
    for step in range(count):
        time = NOON - (minutes + count - 1 - step) * MINUTE_MS
        said = [
            Reading("drying-room", node, name, unit, value, time)
            for name, unit, value in (("temperature", "Cel", 18.0 + step / 100), ("humidity", "%RH", 55.0))
        ]
        reading_store.keep(shop.engine, said, [], [], round(time + late_min * MINUTE_MS))


def kinds(shop: FakeShop) -> list[tuple[str, str]]:
    return [(one.node, one.kind) for one in node_health(shop.parts)]


def test_a_node_that_speaks_in_time_has_nothing(shop: FakeShop) -> None:
    say(shop, "north", 1)
    assert kinds(shop) == []


def test_silent_nodes_are_told_and_those_that_went_by_themselves_apart(shop: FakeShop, web: Browser) -> None:
    say(shop, "north", 20)
    say(shop, "south", 30)
    reading_store.keep(shop.engine, [], [], [NodeStatus("drying-room", "south", False, NOON)], NOON)
    assert kinds(shop) == [("north", "silent"), ("south", "silent")]
    page = web.get("/air").text
    assert "Left out since 13:40: it says nothing any more: look at its power and its Wi-Fi." in page
    assert "Left out since 13:30: it has said that it is going, or its connection broke." in page


def test_a_clock_that_is_behind_is_told(shop: FakeShop, web: Browser) -> None:
    say(shop, "north", 0, late_min=0.1)
    say(shop, "south", 14, late_min=13.0)
    assert kinds(shop) == [("south", "clock off")]
    assert "its clock is about 13 min behind" in web.get("/air").text


def test_a_battery_that_runs_down_is_told_days_before_and_by_the_voltage_that_was_set(
    shop: FakeShop, web: Browser
) -> None:
    say(shop, "north", 1)
    said = [
        Reading("drying-room", "north", "battery", "V", 3.95 - 0.04 * day, NOON - (8 - day) * DAY_MS)
        for day in range(9)
    ]
    reading_store.keep(shop.engine, said, [], [], NOON)
    assert "Its battery has 3.63 V left and falls: empty in about 8 days." in web.get("/air").text
    node_store.set_node(shop.engine, NodeSettings("drying-room", "north", battery_low_v=3.7))
    assert "Its battery has 3.63 V left: change or charge it now." in web.get("/air").text


def test_a_node_left_out_is_told_drawn_and_does_not_count(shop: FakeShop, web: Browser) -> None:
    shop.blow("drying-room", 24)
    for step in range(24 * 12):
        time = NOON - step * 5 * MINUTE_MS
        wrong = [
            Reading("drying-room", "north", "temperature", "Cel", 30.0, time),
            Reading("drying-room", "north", "humidity", "%RH", 71.0, time),
        ]
        reading_store.keep(shop.engine, wrong, [], [], NOON)
    before = web.get("/air").text
    assert 'class="left-out"' not in before
    shop.rack.faults = (
        WRONG,
        NodeFault("cellar", "x", "stuck", NOON - 2 * DAY_MS, NOON - DAY_MS - 1, "r", True),
    )
    page = web.get("/air").text
    assert "Left out since 11:00: it says 71 %RH where the others say 50 %RH." in page
    assert 'class="left-out"' in page
    assert "north left out" in page
    [told] = [one for one in web.get("/api/nodes").json() if one["node"] == "north"]
    assert told["faults"] == [
        {
            "kind": "disagreeing",
            "since": "2026-03-02T09:00:00Z",
            "until": None,
            "reason": WRONG.reason,
            "left_out": True,
        }
    ]
