"""SenML packs: whatever bytes may come, nothing is raised and nothing is lost."""

from hypothesis import given
from hypothesis import strategies as st

from sensors.reading import BATTERY_UNITS, QUANTITIES
from sensors.senml import AGE_LIMIT_MS, AHEAD_LIMIT_MS, Parsed, parse
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
