"""Readings: the first of a key stays, a batch is all or nothing, and a year of them fits."""

import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine

from sensors.clock import MINUTE_MS, Millis
from sensors.reading import NodeStatus, Reading, Rejected
from server.store import readings
from server.store.engine import StoreError, open_store
from server.store.values import BatchOutcome, Node

T0 = 1_772_431_200_000
NO_END = 2**62


def warm(time: Millis, value: float = 20.0, node: str = "n1", place: str = "rack-room") -> Reading:
    return Reading(place, node, "temperature", "Cel", value, time)


def keep(engine: Engine, *said: Reading, arrived: Millis = T0) -> BatchOutcome:
    return readings.keep(engine, said, [], [], arrived)


def everything(engine: Engine, place: str = "rack-room") -> list[Reading]:
    return readings.place_readings(engine, place, 0, NO_END)


def test_readings_come_back_as_they_were_said(engine: Engine) -> None:
    said = [
        Reading("rack-room", "n2", "humidity", "%RH", 0.1 + 0.2, T0 + 1),
        Reading("rack-room", "n1", "temperature", "Cel", -3.25, T0),
        Reading("rack-room", "n1", "humidity", "%RH", 61.5, T0),
        Reading("porch", "n1", "temperature", "Cel", 4.0, T0),
        Reading("rack-room", "n1", "battery", "V", 3.1, T0),
    ]
    outcome = keep(engine, *said)
    assert outcome == BatchOutcome(5, 0, 0, {"rack-room": T0, "porch": T0})
    assert everything(engine) == [said[2], said[1], said[0]]
    assert readings.place_readings(engine, "rack-room", 0, NO_END, ["battery"]) == [said[4]]


def test_a_nodes_readings_by_time_and_name_and_no_more_than_asked(engine: Engine) -> None:
    said = [warm(T0 + minute * MINUTE_MS, float(minute)) for minute in range(5)]
    keep(engine, *reversed(said))
    keep(engine, warm(T0, node="n2"))
    assert readings.node_readings(engine, "n1", T0, NO_END) == said
    assert readings.node_readings(engine, "n1", T0, NO_END, limit=2) == said[:2]
    assert readings.node_readings(engine, "n1", said[1].time, said[3].time) == said[1:3]


def test_the_first_reading_of_a_key_stays(engine: Engine) -> None:
    assert keep(engine, warm(T0, 20.0), warm(T0, 21.0)).known == 1
    outcome = keep(engine, warm(T0, 22.0), warm(T0 + 1, 23.0))
    assert outcome == BatchOutcome(1, 1, 0, {"rack-room": T0 + 1})
    assert everything(engine) == [warm(T0, 20.0), warm(T0 + 1, 23.0)]


def test_a_key_has_no_unit_in_it(engine: Engine) -> None:
    volts = Reading("rack-room", "n1", "battery", "V", 3.0, T0)
    per_cent = Reading("rack-room", "n1", "battery", "%EL", 88.0, T0)
    later = Reading("rack-room", "n1", "battery", "%EL", 87.0, T0 + 1)
    keep(engine, volts)
    assert keep(engine, per_cent, later) == BatchOutcome(1, 1, 0, {"rack-room": T0 + 1})
    assert readings.node_readings(engine, "n1", 0, NO_END) == [volts, later]


KEYS = st.tuples(st.sampled_from(["n1", "n2"]), st.integers(0, 5), st.floats(-40, 85))


@settings(max_examples=25, deadline=None)
@given(batches=st.lists(st.lists(KEYS, max_size=8), max_size=6))
def test_whatever_comes_in_whatever_batches_each_key_is_kept_once_as_first_said(
    tmp_path_factory: pytest.TempPathFactory, batches: list[list[tuple[str, int, float]]]
) -> None:
    first: dict[tuple[str, Millis], Reading] = {}
    engine = open_store(f"sqlite:///{tmp_path_factory.mktemp('store')}/slowcorner.db")
    try:
        for batch in batches:
            said = [warm(T0 + time, value, node) for node, time, value in batch]
            known = dict(first)
            for one in said:
                first.setdefault((one.node, one.time), one)
            outcome = keep(engine, *said)
            fresh = [one for key, one in first.items() if key not in known]
            assert (outcome.new, outcome.known) == (len(fresh), len(said) - len(fresh))
            assert outcome.earliest == ({"rack-room": min(one.time for one in fresh)} if fresh else {})
        assert everything(engine) == [first[node, time] for time, node in sorted((t, n) for n, t in first)]
    finally:
        engine.dispose()


def test_a_batch_is_all_or_nothing(engine: Engine) -> None:
    keep(engine, warm(T0))
    not_a_number = warm(T0 + 2, float("nan"))  # SQLite stores it as NULL, which the table forbids
    with pytest.raises(StoreError, match=r"reading\.value"):
        readings.keep(
            engine,
            [warm(T0 + 1), not_a_number],
            [Rejected("topic", "a reason", b"?", T0)],
            [NodeStatus("rack-room", "n1", True, T0)],
            T0,
        )
    assert everything(engine) == [warm(T0)]
    assert readings.rejected_count(engine) == 0
    assert readings.nodes(engine) == [Node("rack-room", "n1", "unheard", T0)]


def test_two_threads_that_say_the_same_keep_it_once(engine: Engine) -> None:
    said = [warm(T0 + n, float(n % 40)) for n in range(400)]
    outcomes: list[BatchOutcome] = []

    def tell() -> None:
        for start in range(0, 400, 20):
            outcomes.append(keep(engine, *said[start : start + 20]))

    threads = [threading.Thread(target=tell) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert sum(outcome.new for outcome in outcomes) == 400
    assert sum(outcome.known for outcome in outcomes) == 400
    assert everything(engine) == said


def test_rejected_payloads_are_kept_as_they_came_the_latest_first(engine: Engine) -> None:
    raw = bytes(range(256))
    readings.keep(engine, [], [Rejected("topic/a", "not JSON", raw, T0)], [], T0)
    readings.keep(engine, [], [Rejected("topic/b", "wrong unit", b"", T0 + 1)], [], T0 + 1)
    kept = readings.rejections(engine, 10)
    assert [(one.source, one.reason, one.payload, one.arrived) for one in kept] == [
        ("topic/b", "wrong unit", b"", T0 + 1),
        ("topic/a", "not JSON", raw, T0),
    ]
    assert len(readings.rejections(engine, 1)) == 1
    assert readings.rejected_count(engine) == 2


def test_a_node_is_as_its_latest_word_says(engine: Engine) -> None:
    def say(online: bool, at: Millis) -> None:
        readings.keep(engine, [], [], [NodeStatus("rack-room", "n1", online, at)], at)

    keep(engine, warm(T0 + 5, node="n2"))
    say(True, T0)
    say(False, T0 + 10)
    say(True, T0 + 9)  # an older word that came late
    assert readings.nodes(engine) == [
        Node("rack-room", "n1", "offline", T0 + 10),
        Node("rack-room", "n2", "unheard", T0 + 5),
    ]
    say(True, T0 + 11)
    keep(engine, warm(T0 + 30))
    assert readings.nodes(engine)[0] == Node("rack-room", "n1", "online", T0 + 30)
    assert readings.latest_times(engine) == {("rack-room", "n1"): T0 + 30, ("rack-room", "n2"): T0 + 5}


def test_what_came_since_can_be_told_from_what_was_there(engine: Engine) -> None:
    assert readings.newest_arrival(engine) == 0
    keep(engine, warm(T0), warm(T0 + 1), arrived=T0 + 100)
    keep(engine, warm(T0 + 2), arrived=T0 + 200)
    keep(engine, warm(T0), arrived=T0 + 300)  # known already: nothing arrived
    assert readings.newest_arrival(engine) == T0 + 200
    late = readings.place_readings(engine, "rack-room", 0, NO_END, arrived_from=T0 + 200)
    before = readings.place_readings(engine, "rack-room", 0, NO_END, arrived_before=T0 + 200)
    assert late == [warm(T0 + 2)]
    assert before == [warm(T0), warm(T0 + 1)]


def test_a_year_of_ten_nodes_at_a_minute_stays_under_a_gigabyte(tmp_path: Path) -> None:
    """Limit: our own. Written as it comes in a shop: a minute of all nodes at a time."""
    minutes, nodes = 600, 10
    measured = [
        ("temperature", "Cel", 20.37),
        ("humidity", "%RH", 54.2),
        ("airspeed", "m/s", 0.61),
        ("battery", "V", 3.02),
    ]
    path = tmp_path / "slowcorner.db"

    def size() -> int:
        engine = open_store(f"sqlite:///{path}")
        engine.dispose()  # the last to close writes the log back into the file
        return path.stat().st_size

    empty = size()
    engine = open_store(f"sqlite:///{path}")
    for minute in range(minutes):
        keep(
            engine,
            *(
                Reading(
                    "rack-room",
                    f"node-{node}",
                    name,
                    unit,
                    value + minute / 977,
                    T0 + minute * MINUTE_MS + node * 997,
                )
                for node in range(nodes)
                for name, unit, value in measured
            ),
            arrived=T0 + minute * MINUTE_MS + 20_011,
        )
    engine.dispose()
    rows = minutes * nodes * len(measured)
    a_row = (size() - empty) / rows
    a_year = a_row * 365 * 24 * 60 * nodes * len(measured)
    print(f"{a_row:.1f} bytes a reading, {a_year / 1e9:.2f} GB a year of 10 nodes x 4 quantities at a minute")
    assert a_year < 1e9


SAID = st.builds(
    lambda place, node, battery, unit, time, value: Reading(
        place,
        node,
        "battery" if battery else "temperature",
        unit if battery else "Cel",
        float(value),
        T0 + time,
    ),
    st.sampled_from(["cellar", "porch"]),
    st.sampled_from(["n1", "n2"]),
    st.booleans(),
    st.sampled_from(["V", "%EL"]),
    st.integers(0, 5),
    st.integers(0, 9),
)


@settings(max_examples=60, deadline=None)
@given(
    batches=st.lists(st.tuples(st.lists(SAID, max_size=12), st.booleans(), st.integers(1, 40)), max_size=6)
)
def test_whatever_comes_again_in_whatever_batches_the_first_stays(
    tmp_path_factory: pytest.TempPathFactory, batches: list[tuple[list[Reading], bool, int]]
) -> None:
    engine = open_store(f"sqlite:///{tmp_path_factory.mktemp('again') / 'store.db'}")
    expected: dict[tuple[str, str, str, Millis], Reading] = {}
    for said, fails, times in batches:
        # Said again a minute later, and so on, so that there are more than go into one statement.
        batch = [one._replace(time=one.time + n * MINUTE_MS) for n in range(times) for one in said]
        if fails:
            with pytest.raises(StoreError):  # the last to be kept, so that all before it is undone
                readings.keep(engine, batch, [], [NodeStatus("porch", None, True, T0)], T0)  # type: ignore[arg-type]
            continue
        new: dict[str, Millis] = {}
        count = 0
        for one in batch:
            if (one.place, one.node, one.name, one.time) not in expected:
                expected[one.place, one.node, one.name, one.time] = one
                count += 1
                new[one.place] = min(one.time, new.get(one.place, one.time))
        assert keep(engine, *batch) == BatchOutcome(count, len(batch) - count, 0, new)
    kept = [
        one
        for place in ("cellar", "porch")
        for one in readings.place_readings(engine, place, 0, NO_END, ["battery", "temperature"])
    ]
    assert sorted(kept, key=repr) == sorted(expected.values(), key=repr)
    engine.dispose()
