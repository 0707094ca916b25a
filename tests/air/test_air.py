"""The air record: what it says between readings, what it leaves open, and that order changes nothing."""

import random
from collections.abc import Iterable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.air import BLOCK_MS, Air, PlaceAir
from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.humid_air import vapour_pressure_pa
from sensors.reading import QUANTITIES, Reading

START = 1_772_431_200_000  # 2026-03-02T06:00:00Z


def said(
    node: str, minutes: float, temp: float | None = None, rh: float | None = None, speed: float | None = None
) -> list[Reading]:
    time = START + round(minutes * MINUTE_MS)
    told = (("temperature", temp), ("humidity", rh), ("airspeed", speed))
    return [
        Reading("cellar", node, name, QUANTITIES[name].unit, value, time)
        for name, value in told
        if value is not None
    ]


def record(*parts: Iterable[Reading], speed: float = 0.3) -> PlaceAir:
    air = PlaceAir(speed)
    for part in parts:
        air.add(part)
    return air


def at(minutes: float) -> Millis:
    return START + round(minutes * MINUTE_MS)


def test_steady_air_is_what_was_said() -> None:
    air = record(*(said("wall", minute, 20.0, 50.0) for minute in range(0, 61, 5)))
    mean = air.mean(START, START + BLOCK_MS)
    assert mean is not None
    assert mean.temp_c == pytest.approx(20.0, abs=1e-12)
    assert mean.rh_pct == pytest.approx(50.0, abs=1e-12)
    assert mean.speed_m_s == 0.3


def test_straight_line_between_hourly_readings() -> None:
    air = record(said("wall", 0, 10.0, 40.0), said("wall", 60, 16.0, 40.0))
    mean = air.mean(at(10), at(20))
    # computed: the line is at 11.5 °C in the middle of the interval, and a line's mean is its middle.
    assert mean is not None
    assert mean.temp_c == pytest.approx(11.5, abs=1e-9)
    assert mean.rh_pct == pytest.approx(40.0, abs=0.1)


def test_vapour_is_averaged_and_not_relative_humidity() -> None:
    # Half the time 10 °C, half the time 30 °C, both at 60 %; computed by hand from the mean vapour pressure.
    air = record(
        said("wall", 0, 10.0, 60.0),
        said("wall", 4.999, 10.0, 60.0),
        said("wall", 5, 30.0, 60.0),
        said("wall", 10, 30.0, 60.0),
    )
    mean = air.mean(at(0), at(10))
    assert mean is not None
    vapour = float(vapour_pressure_pa(10.0, 60.0) + vapour_pressure_pa(30.0, 60.0)) / 2
    assert mean.temp_c == pytest.approx(20.0)
    assert float(vapour_pressure_pa(20.0, mean.rh_pct)) == pytest.approx(vapour)
    assert mean.rh_pct > 60.0


def test_mean_humidity_is_at_most_saturation() -> None:
    air = record(
        said("wall", 0, 0.5, 100.0), said("wall", 5, 0.5, 100.0),
        said("wall", 5.001, 35.0, 100.0), said("wall", 10, 35.0, 100.0),
    )  # fmt: skip
    mean = air.mean(at(0), at(10))
    assert mean is not None
    assert mean.rh_pct == 100.0


def test_gap_is_missing_and_not_bridged() -> None:
    air = record(
        said("wall", 0, 20.0, 50.0), said("wall", 60, 20.0, 50.0),
        said("wall", 151, 20.0, 50.0), said("wall", 180, 20.0, 50.0),
    )  # fmt: skip
    assert air.mean(at(50), at(60)) is not None
    assert air.mean(at(55), at(65)) is None
    assert air.mean(at(100), at(110)) is None
    assert air.missing(at(0), at(180)) == ((at(60), at(151)),)
    assert air.missing(at(-10), at(200)) == ((at(-10), at(0)), (at(60), at(151)), (at(180), at(200)))
    assert air.missing(at(70), at(80)) == ((at(70), at(80)),)
    assert air.missing(at(0), at(60)) == ()


def test_gap_limit_itself_is_bridged() -> None:
    air = record(said("wall", 0, 20.0, 50.0), said("wall", 90, 20.0, 50.0))
    assert air.mean(at(0), at(90)) is not None
    assert record(said("wall", 0, 20.0, 50.0), said("wall", 91, 20.0, 50.0)).mean(at(0), at(90)) is None


def test_node_without_humidity_is_no_air() -> None:
    air = record(*(said("wall", minute, temp=20.0) for minute in range(0, 31, 5)))
    assert air.mean(at(0), at(10)) is None
    assert air.known_until() is None
    assert air.known_from() is None
    assert air.latest() is None
    assert air.missing(at(0), at(10)) == ((at(0), at(10)),)


def test_medians_over_nodes_shrug_off_one() -> None:
    parts = [
        said(node, minute, temp, rh)
        for minute in range(0, 31, 5)
        for node, temp, rh in (("a", 20.0, 50.0), ("b", 20.4, 50.0), ("c", 35.0, 12.0))
    ]
    mean = record(*parts).mean(at(0), at(10))
    assert mean is not None
    assert mean.temp_c == pytest.approx(20.4)


def test_measured_speed_overrides_the_places_own() -> None:
    air = record(*(said("wall", minute, 20.0, 50.0) for minute in range(0, 61, 5)))
    air.add(said("gauge", 0, speed=1.0) + said("gauge", 10, speed=2.0))
    first, later = air.mean(at(0), at(10)), air.mean(at(20), at(30))
    assert first is not None
    assert first.speed_m_s == pytest.approx(1.5)
    assert later is not None
    assert later.speed_m_s == 0.3


def test_known_until_is_the_last_whole_minute() -> None:
    air = record(said("wall", 0, 20.0, 50.0), said("wall", 1.2, 20.0, 50.0), said("wall", 7.7, 20.0, 50.0))
    assert air.known_from() == at(0)
    assert air.known_until() == at(7)
    assert air.mean(at(0), at(7)) is not None


def test_one_reading_is_a_moment_and_no_minute() -> None:
    air = record(said("wall", 0, 20.0, 50.0))
    assert air.known_until() == at(0)
    assert air.known_from() is None
    newest = air.latest()
    assert newest is not None
    assert newest[0] == at(0)
    assert (newest[1].temp_c, newest[1].rh_pct) == pytest.approx((20.0, 50.0))


def test_slower_node_is_waited_for_and_a_silent_one_is_not() -> None:
    minutes = [said("fast", minute, 20.0, 50.0) for minute in range(0, 31)]
    slow = [said("slow", minute, 22.0, 50.0) for minute in (0, 10, 20)]
    assert record(*minutes, *slow).known_until() == at(20)  # due at 30, waited for until 40
    until_due = [said("fast", minute, 20.0, 50.0) for minute in range(31, 41)]
    assert record(*minutes, *slow, *until_due).known_until() == at(20)
    more = [*until_due, said("fast", 41, 20.0, 50.0)]
    assert record(*minutes, *slow, *more).known_until() == at(41)
    silent = record(*minutes, *slow, *more)
    mean = silent.mean(at(30), at(40))
    assert mean is not None
    assert mean.temp_c == pytest.approx(20.0)
    # It comes back within the gap limit: the record changes from its last reading on, and says so.
    assert silent.add(said("slow", 60, 22.0, 50.0)) == at(20)
    mean = silent.mean(at(30), at(40))
    assert mean is not None
    assert mean.temp_c == pytest.approx(21.0)


def test_late_reading_says_from_when_the_air_changed() -> None:
    air = record(*(said("wall", minute, 20.0, 50.0) for minute in (0, 10, 20, 30)))
    assert air.add(said("wall", 14, 30.0, 50.0)) == at(10)
    assert air.add(said("wall", 14, 10.0, 50.0)) is None  # the first one stays
    air.add(said("wall", 24.7, 20.0, 50.0))
    assert air.add(said("wall", 27, 20.0, 50.0)) == at(24)  # a whole minute
    assert air.add(said("wall", 300, 20.0, 50.0)) == at(300)  # after a gap nothing before it changes
    assert air.add([Reading("cellar", "wall", "mass", "kg", 3.0, at(12))]) is None


def test_two_places_are_not_mixed() -> None:
    air = record(said("wall", 0, 20.0, 50.0))
    with pytest.raises(
        ValueError, match=r"place 'shop' in the air record of 'cellar' \(node 'x', humidity\)"
    ):
        air.add([Reading("shop", "x", "humidity", "%RH", 40.0, at(1))])


def test_empty_interval_is_refused() -> None:
    with pytest.raises(ValueError, match="is empty"):
        PlaceAir(0.3).mean(at(1), at(1))


def test_forgetting_changes_nothing_after() -> None:
    day = 24 * 60
    parts = [said("wall", minute, 20.0 + minute / day, 50.0) for minute in range(0, 20 * day, 53)]
    air, short = record(*parts), record(*parts)
    short.forget(at(19 * day + 5))
    assert short.mean(at(19 * day + 5), at(19 * day + 10)) == air.mean(at(19 * day + 5), at(19 * day + 10))
    for block in range(19 * day + 10, 20 * day - 60, 10):
        assert short.mean(at(block), at(block + 10)) == air.mean(at(block), at(block + 10))
    # What was said so long before bears on nothing after, not even on a fault.
    assert short.mean(at(5 * day), at(5 * day + 10)) is None
    assert short.add(said("wall", 5 * day + 0.5, 1.0, 1.0)) is None
    assert short.known_until() == air.known_until()


def test_mean_is_additive_over_parts() -> None:
    air = record(
        *(said("wall", minute, 15.0 + minute % 13, 40.0 + minute % 17) for minute in range(0, 40, 3))
    )
    whole, parts = air.mean(at(0), at(30)), [air.mean(at(0), at(7.3)), air.mean(at(7.3), at(30))]
    assert whole is not None
    temps = [part.temp_c for part in parts if part is not None]
    assert temps[0] * 7.3 + temps[1] * 22.7 == pytest.approx(whole.temp_c * 30)


reading_lists = st.lists(
    st.builds(
        Reading,
        place=st.just("cellar"),
        node=st.sampled_from(["a", "b", "c"]),
        name=st.just("temperature"),
        unit=st.just("Cel"),
        value=st.floats(-40.0, 85.0),
        time=st.integers(START, START + 8 * HOUR_MS),
    )
    | st.builds(
        Reading,
        place=st.just("cellar"),
        node=st.sampled_from(["a", "b", "c"]),
        name=st.just("humidity"),
        unit=st.just("%RH"),
        value=st.floats(0.0, 100.0),
        time=st.integers(START, START + 8 * HOUR_MS),
    )
    | st.builds(
        Reading,
        place=st.just("cellar"),
        node=st.sampled_from(["a", "gauge"]),
        name=st.just("airspeed"),
        unit=st.just("m/s"),
        value=st.floats(0.0, 30.0),
        time=st.integers(START, START + 8 * HOUR_MS),
    ),
    min_size=4,
    max_size=60,
    unique_by=lambda reading: (reading.node, reading.name, reading.time),
)


def blocks(air: PlaceAir, until: Millis | None = None) -> list[Air | None]:
    ends = range(START + BLOCK_MS, (START + 9 * HOUR_MS if until is None else until) + 1, BLOCK_MS)
    return [air.mean(end - BLOCK_MS, end) for end in ends]


@given(reading_lists, st.randoms(use_true_random=False))
def test_order_of_arrival_changes_no_bit(readings: list[Reading], order: random.Random) -> None:
    shuffled = list(readings)
    order.shuffle(shuffled)
    one, other = record(readings), PlaceAir(0.3)
    for reading in shuffled:
        other.add([reading])
    assert blocks(one) == blocks(other)
    assert one.known_until() == other.known_until()
    assert one.known_from() == other.known_from()
    assert one.latest() == other.latest()
    assert one.missing(START, START + 9 * HOUR_MS) == other.missing(START, START + 9 * HOUR_MS)


@given(reading_lists, reading_lists)
def test_nothing_changes_before_the_time_add_names(before: list[Reading], more: list[Reading]) -> None:
    air = record(before)
    old = PlaceAir(0.3)
    old.add(before)
    changed = air.add(more)
    if changed is None:
        assert blocks(air) == blocks(old)
    else:
        assert blocks(air, changed) == blocks(old, changed)


def in_order(readings: Sequence[Reading]) -> list[Reading]:
    return sorted(readings, key=lambda reading: (reading.time, reading.node, reading.name))


@given(reading_lists)
def test_missing_is_where_there_is_no_mean(readings: list[Reading]) -> None:
    air = record(readings)
    gaps = air.missing(START, START + 9 * HOUR_MS)
    for start in range(START, START + 9 * HOUR_MS, MINUTE_MS):
        absent = any(gap[0] < start + MINUTE_MS and start < gap[1] for gap in gaps)
        assert absent == (air.mean(start, start + MINUTE_MS) is None)
    known = air.known_from()
    whole = gaps == ((START, START + 9 * HOUR_MS),)
    assert (known is None) == whole
    if known is not None:
        assert air.mean(known, known + MINUTE_MS) is not None


@settings(deadline=None, max_examples=30)
@given(st.integers(1, 30), st.integers(1, 30), st.integers(0, 59), st.integers(20, 60))
def test_what_is_known_stays_while_nodes_keep_their_rhythm(
    fast: int, slow: int, offset: int, count: int
) -> None:
    readings = [
        reading
        for node, step, shift in (("a", fast, 0.0), ("b", slow, offset / 60))
        for i in range(count)
        for reading in said(node, i * step + shift, 15.0 + 0.1 * ((i * 7) % 11), 40.0 + 0.1 * ((i * 5) % 23))
    ]
    ends = min(fast, slow) * (count - 1)
    air = PlaceAir(0.3)
    settled = 0
    for reading in in_order(readings):
        if reading.time > at(ends):
            break
        changed = air.add([reading])
        # From the third round on every node's rhythm is known to the record.
        if reading.time > at(2 * max(fast, slow) + 1):
            assert changed is None or changed >= settled
            until = air.known_until()
            assert until is not None
            settled = until
