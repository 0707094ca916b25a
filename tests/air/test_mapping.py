"""Other makers' payloads: read by JSON pointers, or kept out with a reason."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from sensors.clock import HOUR_MS, Millis, parse_time
from sensors.mapping import Field, Mapping, MappingError, TimeField, mapping_for, read_mapped

NOW: Millis = parse_time("2026-03-02T06:00:00Z")

CELLAR = Mapping(
    "house/+/climate",
    "cellar",
    "{1}",
    "json",
    (
        Field("temperature", "/air/temp", "degF"),
        Field("humidity", "/air/hum", "/"),
        Field("battery", "/cell", "mV"),
    ),
    TimeField("/at", "s"),
)


def payload(**changes: object) -> bytes:
    said: dict[str, object] = {
        "air": {"temp": 70.7, "hum": 0.55},
        "cell": 2890,
        "at": NOW / 1000 - 60,
        **changes,
    }
    return json.dumps(said).encode()


def test_a_payload_comes_to_readings_in_our_units_at_its_own_time() -> None:
    read = read_mapped(CELLAR, "house/n7/climate", payload(), NOW)
    assert not read.rejected
    assert [(one.place, one.node, one.name, one.unit, one.value, one.time) for one in read.readings] == [
        ("cellar", "n7", "temperature", "Cel", 21.5, NOW - 60_000),
        ("cellar", "n7", "humidity", "%RH", 55.0, NOW - 60_000),
        ("cellar", "n7", "battery", "V", 2.89, NOW - 60_000),
    ]


# The document and the pointers of RFC 6901, section 5; figures in place of its other values.
RFC_6901 = {
    "foo": [1, 2],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo/0", 1),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_pointers_are_those_of_the_rfc(pointer: str, value: float) -> None:
    mapping = Mapping("x/y", "loft", "n1", "json", (Field("humidity", pointer, "%RH"),))
    assert read_mapped(mapping, "x/y", json.dumps(RFC_6901).encode(), NOW).readings[0].value == value


# Fixed points of the scale: ice 32 °F = 0 °C, steam 212 °F = 100 °C, equal at -40, 0 °C = 273.15 K (ITS-90,
# NIST SP 811 B.8); one pound is 0.45359237 kg exactly.
@pytest.mark.parametrize(
    ("name", "unit", "said", "value"),
    [
        ("temperature", "degF", 32, 0.0),
        ("surface", "degF", 212, 100.0),
        ("temperature", "degF", -40, -40.0),
        ("temperature", "K", 273.15, 0.0),
        ("mass", "lb", 10, 4.5359237),
        ("mass", "g", 1250, 1.25),
        ("airspeed", "km/h", 3.6, 1.0),
        ("airspeed", "ft/min", 196.850393701, 1.0),
        ("battery", "%EL", 80, 80.0),
    ],
)
def test_units_come_to_the_readings_own(name: str, unit: str, said: float, value: float) -> None:
    mapping = Mapping("x", "loft", "n1", "number", (Field(name, "", unit),))
    assert read_mapped(mapping, "x", f" {said}\n".encode(), NOW).readings[0].value == pytest.approx(
        value, abs=1e-9
    )


def test_scale_and_offset_come_before_the_unit() -> None:
    tenths = Mapping("x", "loft", "n1", "number", (Field("temperature", "", "degF", scale=0.1, offset=2.0),))
    assert read_mapped(tenths, "x", b"687", NOW).readings[0].value == 21.5


def test_one_bad_figure_does_not_keep_the_others_out() -> None:
    read = read_mapped(CELLAR, "house/n7/climate", payload(air={"temp": "warm"}), NOW)
    assert [one.name for one in read.readings] == ["battery"]
    assert [one.reason for one in read.rejected] == [
        'by the mapping of house/+/climate: temperature "warm" is no number',
        'by the mapping of house/+/climate: there is nothing at "/air/hum" for humidity',
    ]


@pytest.mark.parametrize(
    ("topic", "said", "reason"),
    [
        ("house/n7/climate", b"{", "not JSON"),
        ("house/N 7/climate", payload(), 'node "N 7" is not 1 to 64 characters'),
        (
            "house/n7/climate",
            payload(air={"temp": 70, "hum": 55}),
            "humidity 55 comes to 5500 %RH, outside 0 to 100",
        ),
        ("house/n7/climate", payload(at=NOW), "is in the future"),
        ("house/n7/climate", payload(at=NOW / 1000 - 31 * 86_400), "is more than 30 days ago"),
        ("house/n7/climate", payload(at=None), "time null is no number"),
        ("house/n7/climate", payload(air={"temp": True, "hum": 0.5}), "temperature true is no number"),
        ("house/n7/climate", payload(air={"temp": math.nan, "hum": 0.5}), "temperature NaN is no number"),
    ],
)
def test_what_cannot_be_taken_says_why(topic: str, said: bytes, reason: str) -> None:
    read = read_mapped(CELLAR, topic, said, NOW)
    assert any(reason in one.reason for one in read.rejected), read.rejected
    assert all(one.payload == said and one.source == topic for one in read.rejected)


def test_a_time_may_be_a_text_or_milliseconds() -> None:
    for unit, said in (("text", "2026-03-02T06:30:00+01:00"), ("ms", NOW - HOUR_MS // 2)):
        mapping = Mapping("x", "loft", "n1", "json", (Field("humidity", "/h", "%RH"),), TimeField("/t", unit))
        read = read_mapped(mapping, "x", json.dumps({"h": 50, "t": said}).encode(), NOW)
        assert [one.time for one in read.readings] == [NOW - HOUR_MS // 2], read.rejected


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"topic_filter": "slowcorner/+/x"}, "must begin with a level of its own"),
        ({"topic_filter": "#"}, "must begin with a level of its own"),
        ({"topic_filter": "$SYS/x"}, "must begin with a level of its own"),
        ({"topic_filter": "a/b+"}, "stands for a whole level"),
        ({"topic_filter": "a/#/b"}, "stands for a whole level"),
        ({"topic_filter": ""}, "is not 1 to 256 printable signs"),
        ({"node": "{2}"}, 'node "{2}" is not 1 to 64 characters'),
        ({"place": "rack"}, "keeps for itself"),
        ({"format": "xml"}, 'format "xml" is none of json, number'),
        ({"fields": ()}, "at least one quantity"),
        (
            {"fields": (Field("humidity", "/a", "%RH"), Field("humidity", "/b", "%RH"))},
            "humidity is read twice",
        ),
        ({"format": "number"}, "a plain number is one quantity"),
    ],
)
def test_a_mapping_that_cannot_be_is_refused(changes: dict[str, object], reason: str) -> None:
    usual: dict[str, object] = {
        "topic_filter": "a/+",
        "place": "loft",
        "node": "{1}",
        "format": "json",
        "fields": (Field("humidity", "/a", "%RH"),),
    }
    with pytest.raises(MappingError, match=reason.replace("{", r"\{")):
        Mapping(**{**usual, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given_", "reason"),
    [
        (("dew", "/a", "Cel"), 'quantity "dew" is none of'),
        (("humidity", "/a", "Cel"), 'unit "Cel" of humidity is none of'),
        (("humidity", "a", "%RH"), "is no JSON pointer"),
        (("humidity", "/~2", "%RH"), "is no JSON pointer"),
        (("humidity", "/a", "%RH", 0.0), "scale 0.0 of humidity"),
        (("humidity", "/a", "%RH", 1.0, math.inf), "offset inf of humidity"),
    ],
)
def test_a_field_that_cannot_be_is_refused(given_: tuple[object, ...], reason: str) -> None:
    with pytest.raises(MappingError, match=reason):
        Field(*given_)  # type: ignore[arg-type]


# MQTT 5.0, 4.7.1: the examples of the standard's text (sport/tennis and so on), which are not ours to invent.
@pytest.mark.parametrize(
    ("topic_filter", "topic", "matches"),
    [
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
    ],
)
def test_topic_filters_are_those_of_the_standard(topic_filter: str, topic: str, matches: bool) -> None:
    assert topic_matches_sub(topic_filter, topic) is matches
    mapping = Mapping(topic_filter, "loft", "n1", "number", (Field("humidity", "", "%RH"),))
    assert (mapping_for([mapping], topic) is mapping) is matches


@given(st.binary(max_size=60), st.sampled_from(["json", "number"]))
def test_no_bytes_make_it_raise(said: bytes, form: str) -> None:
    pointer = "" if form == "number" else "/a"
    mapping = Mapping("x", "loft", "n1", form, (Field("humidity", pointer, "%RH"),))  # type: ignore[arg-type]
    read = read_mapped(mapping, "x", said, NOW)
    assert len(read.readings) + len(read.rejected) == 1


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["a", "t", "0"]), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(JSON, st.sampled_from(["s", "ms", "text"]), st.sampled_from(["", "/a", "/a/0", "/t/a", "/a/-"]))
def test_no_json_makes_it_raise(said: object, unit: str, pointer: str) -> None:
    fields = (Field("temperature", pointer, "degF"), Field("humidity", "/a", "%RH"))
    mapping = Mapping("x", "loft", "n1", "json", fields, TimeField("/t", unit))
    read = read_mapped(mapping, "x", json.dumps(said).encode(), NOW)
    assert len(read.readings) + len(read.rejected) in (1, 2)
    assert all(math.isfinite(one.value) and abs(one.time) < 2**53 for one in read.readings)
