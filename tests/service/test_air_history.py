"""The air over days: hours that are kept are those that would be made anew, and bad nodes do not count."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sensors.clock import HOUR_MS, MINUTE_MS
from sensors.humid_air import relative_humidity_pct, vapour_pressure_pa
from sensors.reading import Reading
from server.air_history import AirHistory, LeftOut, air_means, corrected
from server.store import readings
from server.store.binned import Bin, binned
from server.store.engine import Engine
from server.store.readings import AIR
from tests.service.records import PLACE, START, steady


def test_bins_are_the_means_of_what_was_said_in_them(engine: Engine) -> None:
    said = [
        Reading(PLACE, "n1", "humidity", "%RH", 40.0 + at, START + at * 20 * MINUTE_MS) for at in range(7)
    ]
    readings.keep(engine, [*said, Reading("cellar", "n1", "humidity", "%RH", 99.0, START)], [], [], START)
    assert binned(engine, PLACE, AIR, START, START + 2 * HOUR_MS, HOUR_MS) == [
        Bin("n1", "humidity", START, 41.0, "%RH"),
        Bin("n1", "humidity", START + HOUR_MS, 44.0, "%RH"),
    ]


PACKS = st.lists(st.tuples(st.integers(0, 5 * 60), st.floats(10, 90)), min_size=1, max_size=4)


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(st.lists(st.tuples(PACKS, st.integers(1, 6), st.integers(0, 3)), min_size=1, max_size=6))
def test_kept_hours_are_those_made_anew(
    engine: Engine, steps: list[tuple[list[tuple[int, float]], int, int]]
) -> None:
    with engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM reading")
    history = AirHistory(engine)
    for number, (said, end_hour, start_hour) in enumerate(steps):
        # Late readings, early ones and ones said twice, between looks at any stretch of hours.
        pack = [
            Reading(PLACE, "n1", "humidity", "%RH", value, START + minute * MINUTE_MS)
            for minute, value in said
        ]
        history.heard(readings.keep(engine, pack, [], [], START + number))
        start, end = START + start_hour * HOUR_MS, START + end_hour * HOUR_MS
        if start < end:
            fresh = binned(engine, PLACE, AIR, start, end, HOUR_MS)
            assert history.bins(PLACE, start, end, HOUR_MS) == fresh


def test_the_air_is_the_median_of_the_nodes_that_count(engine: Engine) -> None:
    for node, temp, rh in (("n1", 20.0, 50.0), ("n2", 21.0, 52.0), ("n3", 60.0, 5.0)):
        readings.keep(engine, steady(START, 3, temp, rh, node=node), [], [], START)
    bins = AirHistory(engine).bins(PLACE, START, START + 3 * HOUR_MS, HOUR_MS)
    points = air_means(bins, START, START + 3 * HOUR_MS, HOUR_MS, [LeftOut("n3", START + HOUR_MS, None)])
    assert [point.time for point in points] == [START, START + HOUR_MS, START + 2 * HOUR_MS]
    assert points[0].temp_c == pytest.approx(21.0)
    assert points[1].temp_c == pytest.approx(20.5)
    vapour = (vapour_pressure_pa(20.0, 50.0) + vapour_pressure_pa(21.0, 52.0)) / 2
    assert points[1].rh_pct == pytest.approx(float(relative_humidity_pct(20.5, vapour)))
    ended = air_means(bins, START, START + 3 * HOUR_MS, HOUR_MS, [LeftOut("n3", START, START + 2 * HOUR_MS)])
    assert [point.temp_c for point in ended] == pytest.approx([20.5, 20.5, 21.0])


def test_near_bins_are_joined_and_far_ones_are_not() -> None:
    width = 10 * MINUTE_MS

    def said(at: int, temp: float) -> list[Bin]:
        return [
            Bin("n1", "temperature", START + at * width, temp),
            Bin("n1", "humidity", START + at * width, 50.0),
        ]

    points = air_means([*said(1, 20.0), *said(5, 24.0), *said(15, 24.0)], START, START + 18 * width, width)
    assert [None if point.temp_c is None else round(point.temp_c, 6) for point in points] == [
        None, 20.0, 21.0, 22.0, 23.0, 24.0, *([None] * 9), 24.0, None, None
    ]  # fmt: skip


def test_calibrations_go_through_the_means() -> None:
    bins = [Bin("n1", "humidity", START, 50.0), Bin("n1", "temperature", START, 20.0)]

    def correct(said: Reading) -> Reading:
        value = said.value * 1.02 - 1.5 if said.name == "humidity" else said.value
        return Reading(said.place, said.node, said.name, said.unit, value, said.time)

    assert corrected(bins, PLACE, correct) == [
        Bin("n1", "humidity", START, 49.5),
        Bin("n1", "temperature", START, 20.0),
    ]
