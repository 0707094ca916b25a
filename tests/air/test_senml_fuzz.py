"""SenML packs: whatever bytes may come, nothing is raised and nothing is lost."""

import json
import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sensors import senml
from sensors.reading import BATTERY_UNITS, QUANTITIES
from sensors.senml import AGE_LIMIT_MS, AHEAD_LIMIT_MS, Parsed, load_json, parse
from tests.air.packs import NOW, take

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

OFF_BY_ONE = st.sampled_from(
    [
        *[{}] * 30,
        {"v": math.nan},
        {"v": -math.inf},
        {"n": "shop/n1/humidity"},
        {"n": "battery"},
        {"n": "colour"},
        {"n": 7},
        {"u": "%RH"},
        {"u": None},
        {"v": True},
        {"v": "20"},
        {"v": 10**400},
        {"v": 86},
        {"v": -0.0},
        {"t": True},
        {"t": "1"},
        {"t": 10**400},
        {"bt": None},
        {"bt": -0.0},
        {"bn": "shop/n1/"},
        {"bn": "shop/n2/"},
        {"bn": ""},
        {"bn": 3},
        {"bu": "Cel"},
        {"bv": 2},
        {"bs": 2},
        {"bver": 10},
        {"bver": 11},
        {"bver": "10"},
        {"s": 2},
        {"t": 10**400},
        {"bt": 10**400},
        {"bt": float("nan")},
        {"t": 1e12},
        {"t": True},
        {"vs": "x"},
        {"x": 2},
        {"x_": 2},
    ]
)
NEARLY_USUAL = st.builds(
    lambda usual, off: usual | off,
    st.fixed_dictionaries(
        {
            "n": st.just("temperature"),
            "u": st.just("Cel"),
            "v": st.integers(-50, 90) | st.floats(-41.0, 86.0),
        },
        optional={
            "t": st.floats(-3e6, 400.0) | st.integers(-5, 5),
            "bt": st.sampled_from([NOW // 1000, NOW / 1000, NOW / 1000 + 301]),
        },
    ),
    OFF_BY_ONE,
)
"""Records that are as usual, or off by one thing."""


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


@settings(max_examples=500)
@given(st.lists(NEARLY_USUAL, min_size=1, max_size=5))
def test_what_is_read_the_short_way_is_what_the_long_way_reads(pack: list[dict[str, object]]) -> None:
    payload = json.dumps(pack).encode()
    as_it_is = parse(payload, "shop", "n1", NOW, "here")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(senml, "_usual", lambda *_: None)
        the_long_way = parse(payload, "shop", "n1", NOW, "here")
    assert repr(as_it_is) == repr(the_long_way)  # in words, so that 1 is not 1.0 and -0.0 is not 0.0


AROUND = st.sampled_from(["", "", " ", "\n", "\ufeff", "x", "]", "[]"])


def outcome(read: Callable[[Any], object], said: bytes | str) -> str:
    """What it was read as, or why it was not."""
    try:
        return repr(read(said))
    except ValueError as error:
        return str(error).removeprefix("not JSON: ")


@given(AROUND, st.one_of(st.text(max_size=9), st.lists(RECORD_FIELDS, max_size=2).map(json.dumps)), AROUND)
def test_json_is_read_and_refused_as_python_reads_and_refuses_it(before: str, text: str, behind: str) -> None:
    said = (before + text + behind).encode("utf-8", "replace")
    assume(said)
    assert outcome(load_json, said) == outcome(json.loads, said.decode())
