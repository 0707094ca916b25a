"""SenML packs: the RFC's own examples, our names, units and limits, and whatever bytes may come."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.clock import DAY_MS, MINUTE_MS, parse_time
from sensors.reading import BATTERY_UNITS, QUANTITIES
from sensors.senml import AGE_LIMIT_MS, AHEAD_LIMIT_MS, Parsed, Resolved, load_pack, parse, resolve

NOW = parse_time("2026-03-02T06:00:00Z")
NOW_S = NOW / 1000


def take(pack: object, arrived: int = NOW) -> Parsed:
    return parse(json.dumps(pack).encode(), "shop", "n1", arrived, "here")


def values(parsed: Parsed) -> list[tuple[str, str, float, int]]:
    return [(r.name, r.unit, r.value, r.time) for r in parsed.readings]


def only_reason(parsed: Parsed) -> str:
    assert parsed.readings == ()
    (rejected,) = parsed.rejected
    return rejected.reason


def resolved(payload: str, now: int) -> list[Resolved]:
    base: dict[str, object] = {}
    records = [resolve(record, base, now) for record in load_pack(payload.encode())]
    return [record for record in records if record is not None]


# -- the RFC's own examples


def test_single_datapoint_is_about_now() -> None:
    # RFC 8428, 5.1.1
    payload = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert resolved(payload, NOW) == [Resolved("urn:dev:ow:10e2073a01080063", "Cel", 23.1, NOW)]


def test_base_name_joins_to_each_name() -> None:
    # RFC 8428, 5.1.2, the first example
    payload = """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
                  {"n":"current","u":"A","v":1.2}]"""
    assert resolved(payload, NOW) == [
        Resolved("urn:dev:ow:10e2073a01080063:voltage", "V", 120.1, NOW),
        Resolved("urn:dev:ow:10e2073a01080063:current", "A", 1.2, NOW),
    ]


def test_base_time_and_relative_times_add_up() -> None:
    # RFC 8428, 5.1.2, the second example: currents at 2010-06-08T18:01:16.001Z and in the 5 seconds before
    payload = """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
                   "n":"voltage","u":"V","v":120.1},
                  {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3},
                  {"n":"current","t":-3,"v":1.4}, {"n":"current","t":-2,"v":1.5},
                  {"n":"current","t":-1,"v":1.6}, {"n":"current","v":1.7}]"""
    then = parse_time("2010-06-08T18:01:16.001Z")
    found = resolved(payload, then)
    assert found[0] == Resolved("urn:dev:ow:10e2073a0108006:voltage", "V", 120.1, then)
    assert [record.time - then for record in found[1:]] == [-5000, -4000, -3000, -2000, -1000, 0]
    assert [record.value for record in found[1:]] == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert {(record.name, record.unit) for record in found[1:]} == {
        ("urn:dev:ow:10e2073a0108006:current", "A")
    }


def test_the_resolved_form_of_multiple_measurements() -> None:
    # RFC 8428, 5.1.3, and its resolved form in 5.1.4
    payload = """[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
                  {"u":"lon","v":24.30621}, {"u":"lat","v":60.07965}, {"t":60,"v":20.3},
                  {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965}, {"t":120,"v":20.7},
                  {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966},
                  {"u":"%EL","t":150,"v":98}, {"t":180,"v":21.2},
                  {"u":"lon","t":180,"v":24.30628}, {"u":"lat","t":180,"v":60.07967}]"""
    expected = [
        ("%RH", 1.320067464e09, 20),
        ("lon", 1.320067464e09, 24.30621),
        ("lat", 1.320067464e09, 60.07965),
        ("%RH", 1.320067524e09, 20.3),
        ("lon", 1.320067524e09, 24.30622),
        ("lat", 1.320067524e09, 60.07965),
        ("%RH", 1.320067584e09, 20.7),
        ("lon", 1.320067584e09, 24.30623),
        ("lat", 1.320067584e09, 60.07966),
        ("%EL", 1.320067614e09, 98),
        ("%RH", 1.320067644e09, 21.2),
        ("lon", 1.320067644e09, 24.30628),
        ("lat", 1.320067644e09, 60.07967),
    ]
    found = resolved(payload, parse_time("2011-10-31T13:30:00Z"))
    assert [(record.unit, record.time / 1000, record.value) for record in found] == expected
    assert {record.name for record in found} == {"urn:dev:ow:10e2073a01080063"}


def test_base_name_changes_and_base_time_stays() -> None:
    # RFC 8428, 5.1.6: the last record has the base name of the third and the base time of the first.
    payload = """[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":27.2},
                  {"n":"humidity","u":"%RH","v":80},
                  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
                  {"n":"humidity","u":"%RH","v":67}]"""
    then = parse_time("2011-10-31T16:27:09Z")
    assert resolved(payload, then) == [
        Resolved("2001:db8::2/temperature", "Cel", 27.2, then),
        Resolved("2001:db8::2/humidity", "%RH", 80, then),
        Resolved("2001:db8::1/temperature", "Cel", 12.3, then),
        Resolved("2001:db8::1/humidity", "%RH", 67, then),
    ]


# -- a node's pack


def test_a_pack_becomes_readings() -> None:
    pack = [
        {"bn": "shop/n1/", "bt": NOW_S - 60, "n": "temperature", "u": "Cel", "v": 21.5},
        {"n": "humidity", "u": "%RH", "t": 2.5, "v": 47},
        {"n": "airspeed", "u": "m/s", "v": 0.6},
        {"n": "mass", "u": "kg", "v": 3.25},
        {"n": "surface", "u": "Cel", "v": 19},
        {"n": "battery", "u": "V", "v": 3.7},
    ]
    parsed = take(pack)
    assert parsed.rejected == ()
    assert values(parsed) == [
        ("temperature", "Cel", 21.5, NOW - 60_000),
        ("humidity", "%RH", 47.0, NOW - 57_500),
        ("airspeed", "m/s", 0.6, NOW - 60_000),
        ("mass", "kg", 3.25, NOW - 60_000),
        ("surface", "Cel", 19.0, NOW - 60_000),
        ("battery", "V", 3.7, NOW - 60_000),
    ]
    assert {(reading.place, reading.node) for reading in parsed.readings} == {("shop", "n1")}


@pytest.mark.parametrize("name", ["temperature", "shop/n1/temperature"])
def test_the_base_name_may_be_left_out(name: str) -> None:
    assert values(take([{"n": name, "u": "Cel", "v": 20}])) == [("temperature", "Cel", 20.0, NOW)]


def test_base_value_and_base_unit() -> None:
    # RFC 8428, 4.5: base value and value add up; a record's own unit goes before the base unit.
    pack = [
        {"bn": "shop/n1/", "bu": "Cel", "bv": 20},
        {"n": "temperature", "v": 1.5},
        {"n": "surface", "v": -0.5},
        {"n": "battery", "u": "%EL", "v": 60},
    ]
    assert [(r.name, r.unit, r.value) for r in take(pack).readings] == [
        ("temperature", "Cel", 21.5),
        ("surface", "Cel", 19.5),
        ("battery", "%EL", 80.0),
    ]


def test_times_turn_absolute_at_two_to_the_28() -> None:
    # RFC 8428, 4.5.3: 2**28 s is 1978-07-04T21:24:16Z, and one second less is in the far future of now.
    early = parse_time("1978-07-04T21:24:16Z")
    absolute = take([{"n": "temperature", "u": "Cel", "t": 2**28, "v": 20}], early)
    assert values(absolute) == [("temperature", "Cel", 20.0, early)]
    relative = take([{"n": "temperature", "u": "Cel", "t": 2**28 - 1, "v": 20}], early)
    assert "ahead of the clock" in only_reason(relative)


@given(st.floats(-2_500_000, 299), st.floats(-10, 10))
def test_relative_and_absolute_time_mean_the_same(base: float, own: float) -> None:
    relative = take([{"n": "mass", "u": "kg", "bt": base, "t": own, "v": 1}])
    absolute = take([{"n": "mass", "u": "kg", "bt": NOW_S + base, "t": own, "v": 1}])
    if base + own > 300:
        assert relative.readings == absolute.readings == ()
    else:
        (one,), (other,) = relative.readings, absolute.readings
        assert (
            abs(one.time - other.time) <= 1
        )  # a float second of today is exact to 0.24 µs; each is rounded once


def test_unknown_fields_are_left_aside() -> None:
    # RFC 8428, 4.4
    pack = [{"n": "temperature", "u": "Cel", "v": 20, "ut": 60, "colour": {"deep": [1]}}]
    assert values(take(pack)) == [("temperature", "Cel", 20.0, NOW)]


# -- what is kept out, and why


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


# -- whatever may come

RECORD_FIELDS = st.dictionaries(
    st.sampled_from(
        ["n", "u", "v", "t", "bn", "bt", "bu", "bv", "bs", "bver", "vs", "vb", "s", "x", "x_", "\ud800"]
    ),
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=5),
        st.sampled_from(
            ["temperature", "humidity", "battery", "shop/n1/", "Cel", "%RH", "V", "\ud800", "\x00"]
        ),
        st.lists(st.integers(), max_size=2),
    ),
    max_size=6,
)


def check(parsed: Parsed) -> None:
    for reading in parsed.readings:
        quantity = BATTERY_UNITS[reading.unit] if reading.name == "battery" else QUANTITIES[reading.name]
        assert reading.unit == quantity.unit
        assert quantity.lowest <= reading.value <= quantity.highest
        assert NOW - AGE_LIMIT_MS <= reading.time <= NOW + AHEAD_LIMIT_MS
    for rejected in parsed.rejected:
        assert rejected.reason.isprintable()
        assert len(rejected.reason) < 400


@given(st.binary(max_size=200))
def test_no_bytes_make_it_raise(payload: bytes) -> None:
    parsed = parse(payload, "shop", "n1", NOW, "here")
    assert parsed.readings or parsed.rejected or b"[" in payload
    check(parsed)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
def test_no_json_makes_it_raise(content: object) -> None:
    check(take(content))


@given(st.lists(RECORD_FIELDS, min_size=1, max_size=6))
def test_every_record_is_taken_or_kept_out_or_base_only(pack: list[dict[str, object]]) -> None:
    parsed = take(pack)
    check(parsed)
    base_only = sum(1 for record in pack if not record.keys() - {"bn", "bt", "bu", "bv", "bs", "bver"})
    whole = len(parsed.rejected) == 1 and not parsed.rejected[0].reason.startswith("record ")
    assert whole or len(parsed.readings) + len(parsed.rejected) + base_only == len(pack)
