"""SenML packs: what is kept out, why, and how little with it."""

import json
import math

import pytest

from sensors.clock import DAY_MS, MINUTE_MS
from sensors.reading import BATTERY_UNITS, QUANTITIES
from sensors.senml import AGE_LIMIT_MS, AHEAD_LIMIT_MS, parse
from tests.air.packs import NOW, NOW_S, only_reason, take, values


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        ({"n": "temperature", "u": "F", "v": 70}, 'temperature has unit "F"; it must be Cel'),
        ({"n": "temperature", "v": 20}, "temperature has no unit; it must be Cel"),
        ({"n": "battery", "u": "%", "v": 20}, 'battery has unit "%"; it must be V or %EL'),
        ({"n": "temperature", "u": "Cel", "v": math.nan}, '"temperature": value NaN is not a finite number'),
        ({"n": "temperature", "u": "Cel", "v": -math.inf}, "value -Infinity is not a finite number"),
        ({"n": "temperature", "u": "Cel", "v": 10**400}, "is not a finite number"),
        ({"n": "temperature", "u": "Cel", "v": True}, '"temperature": value true is not a number'),
        ({"n": "temperature", "u": "Cel", "v": "20"}, 'value "20" is not a number'),
        ({"n": "temperature", "u": "Cel", "v": None}, "value null is not a number"),
        ({"n": "temperature", "u": "Cel", "vs": "20"}, "has a text for its value (vs)"),
        ({"n": "temperature", "u": "Cel", "vb": True, "v": 20}, "has a true or false for its value (vb)"),
        ({"n": "temperature", "u": "Cel", "v": 20, "s": 5}, "is a sum"),
        ({"n": "temperature", "u": "Cel", "v": 20, "bs": 5}, "is a sum"),
        ({"n": "temperature", "u": "Cel"}, "has no value (v)"),
        ({"n": "temperature", "u": "Cel", "v": 85.1}, "temperature 85.1 Cel is outside -40 to 85 Cel"),
        ({"n": "humidity", "u": "%RH", "v": -1}, "humidity -1 %RH is outside 0 to 100 %RH"),
        ({"n": "colour", "u": "Cel", "v": 1}, 'name "colour" is not known; known are temperature, humidity'),
        ({"n": "shop/n2/humidity", "u": "%RH", "v": 1}, 'is not under this node\'s own "shop/n1/"'),
        ({"u": "Cel", "v": 20}, 'name "" is not known'),
        ({"n": 7, "u": "Cel", "v": 20}, "n 7 is not a text"),
        ({"n": "temperature", "u": 7, "v": 20}, "u 7 is not a text"),
        ({"n": "temperature", "u": "Cel", "v": 20, "t": "soon"}, 't "soon" is not a number'),
        (
            {"n": "temperature", "u": "Cel", "v": 20, "t": 301},
            "time 301 s is 5.02 min ahead of the clock; at most 5 min",
        ),
        ({"n": "temperature", "u": "Cel", "v": 20, "t": NOW_S + 86400}, "is 24 h ahead of the clock"),
        (
            {"n": "temperature", "u": "Cel", "v": 20, "t": -2_600_000},
            "time -2600000 s is 30.1 days old; at most 30 days",
        ),
        ({"n": "temperature", "u": "Cel", "v": 20, "t": 1.2e9}, "old; at most 30 days is taken"),
        ({"n": "temperature", "u": "Cel", "v": 20, "t": 1e300}, "time 1e+300 s is no time"),
        (["temperature", 20], "[…] is not a record"),
        (20, "20 is not a record"),
    ],
)
def test_a_bad_record_is_kept_out_and_the_good_ones_are_taken(record: object, reason: str) -> None:
    good = {"n": "humidity", "u": "%RH", "v": 50}
    parsed = take([good, record])
    assert values(parsed) == [("humidity", "%RH", 50.0, NOW)]
    (rejected,) = parsed.rejected
    assert reason in rejected.reason
    assert rejected.reason.startswith("record 2: ")
    assert (rejected.source, rejected.arrived) == ("here", NOW)
    assert json.dumps(json.loads(rejected.payload)) == json.dumps(record)


@pytest.mark.parametrize(
    "quantity", [*QUANTITIES.values(), *BATTERY_UNITS.values()], ids=lambda q: q.name + q.unit
)
def test_the_ends_of_a_range_are_in_and_a_hair_beyond_is_out(quantity: "object") -> None:
    name, unit, low, high = (getattr(quantity, field) for field in ("name", "unit", "lowest", "highest"))
    ends = [{"n": name, "u": unit, "v": value} for value in (low, high)]
    beyond = [{"n": name, "u": unit, "v": value} for value in (low - 1e-9, high + 1e-9)]
    assert [reading.value for reading in take(ends).readings] == [low, high]
    assert len(take(beyond).rejected) == 2


def test_the_limits_of_time_are_in_and_a_millisecond_beyond_is_out() -> None:
    def at(offset: int) -> dict[str, object]:
        return {"n": "mass", "u": "kg", "v": 1, "t": (NOW + offset) / 1000}

    parsed = take([at(AHEAD_LIMIT_MS), at(-AGE_LIMIT_MS), at(AHEAD_LIMIT_MS + 1), at(-AGE_LIMIT_MS - 1)])
    assert [reading.time - NOW for reading in parsed.readings] == [5 * MINUTE_MS, -30 * DAY_MS]
    assert [rejected.reason.split(":")[0] for rejected in parsed.rejected] == ["record 3", "record 4"]


def test_a_bad_base_field_keeps_out_what_leans_on_it_and_no_more() -> None:
    pack = [
        {"n": "temperature", "u": "Cel", "v": 20},
        {"bt": "noon", "n": "humidity", "u": "%RH", "v": 50},
        {"n": "surface", "u": "Cel", "v": 21},
        {"bt": -1, "n": "mass", "u": "kg", "v": 2},
    ]
    parsed = take(pack)
    assert [(reading.name, reading.time) for reading in parsed.readings] == [
        ("temperature", NOW),
        ("mass", NOW - 1000),
    ]
    assert [rejected.reason for rejected in parsed.rejected] == [
        'record 2: bt "noon" is not a number',
        'record 3: bt "noon" is not a number',
    ]


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "the payload is empty"),
        (b"21.5 C", "not JSON: "),
        (b'[{"n":"temperature","u":"Cel","v":20}', "not JSON: "),
        (b'{"temperature": 21.5}', "not SenML: a pack is a list of records"),
        (b"null", "not SenML: a pack is a list of records"),
        (b"[]", "the pack has no records"),
        (b"\xff\xfe[\x00]\x00", "not UTF-8: byte 0xff at 0"),
        (b'[{"n":"temperature","u":"Cel","v":20,"zone_":1}]', 'field "zone_" must be understood'),
        (b'[{"n":"temperature","u":"Cel","v":20},{"bver":11}]', "SenML version 11; versions up to 10"),
        (b'[{"bver":"ten","n":"temperature","u":"Cel","v":20}]', 'bver "ten" is not a number'),
        (b"[" * 60_000, "nested too deep"),
        (b'[{"a":' * 9_000, "nested too deep"),
        (b"[" + b"9" * 5_000 + b"]", "not JSON: "),
    ],
)
def test_a_payload_that_is_no_pack_is_kept_whole(payload: bytes, reason: str) -> None:
    parsed = parse(payload, "shop", "n1", NOW, "slowcorner/shop/n1/senml")
    assert reason in only_reason(parsed)
    assert parsed.rejected[0].payload == payload
    assert parsed.rejected[0].source == "slowcorner/shop/n1/senml"


def test_a_flood_of_bad_records_leaves_one_entry() -> None:
    good = {"n": "humidity", "u": "%RH", "v": 50}
    payload = json.dumps([good, *range(20_000)]).encode()
    parsed = parse(payload, "shop", "n1", NOW, "here")
    assert len(parsed.readings) == 1
    (rejected,) = parsed.rejected
    assert rejected.reason == "20000 of 20001 records kept out; the first, record 2: 0 is not a record"
    assert rejected.payload == payload
