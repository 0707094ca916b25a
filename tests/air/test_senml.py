"""SenML packs: the RFC's own examples, and a node's pack with its times."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.clock import parse_time
from sensors.senml import Resolved
from tests.air.packs import NOW, NOW_S, only_reason, resolved, take, values


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
