"""Nodes at fault are found from the fault's start, with and without neighbours; good nodes never are."""

import csv
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis, parse_time
from sensors.fault_beside import find_faults
from sensors.faults import REACH_MS, Fault
from sensors.humid_air import relative_humidity_pct, vapour_pressure_pa
from sensors.shop_air import Room, ShopAir, fortnight
from sensors.traces import NodeTrace, Said

Floats = NDArray[np.float64]

START: Millis = parse_time("2026-03-02T06:00:00Z")
GAP = 90 * MINUTE_MS


def trace(times: NDArray[np.int64], temp: Floats, rh: Floats) -> NodeTrace:
    return NodeTrace(Said(times, temp), Said(times, np.clip(rh, 0.0, 100.0)))


def smooth(hours: float = 48.0, step: Millis = MINUTE_MS) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Air that goes up and down by the day, as a node would say it: times, °C, %RH."""
    times = np.arange(START, START + round(hours * HOUR_MS), step, dtype=np.int64)
    day = np.sin((times - START) / DAY_MS * 2.0 * np.pi)
    return times, np.round(18.0 + 3.0 * day, 2), np.round(55.0 - 12.0 * day, 2)


def found(traces: Mapping[str, NodeTrace]) -> list[Fault]:
    last = max(one.last for one in traces.values())
    return find_faults(traces, START, last, GAP)


def three(change: Callable[[Floats, Floats, NDArray[np.int64]], tuple[Floats, Floats]]) -> list[Fault]:
    """Three nodes with small errors of their own, the second of which says something else."""
    times, temp, rh = smooth()
    traces = {
        "n1": trace(times, temp + 0.2, rh - 1.5),
        "n2": trace(times, *change(temp.copy(), rh.copy(), times)),
        "n3": trace(times, temp - 0.15, rh + 1.0),
    }
    return found(traces)


FROM = START + 20 * HOUR_MS


def since(times: NDArray[np.int64], hours: float = 100.0) -> NDArray[np.bool_]:
    return (times >= FROM) & (times < FROM + hours * HOUR_MS)


@pytest.mark.parametrize(
    ("kind", "change", "late"),
    [
        ("stuck", lambda t, h, at: (t, np.where(since(at), 47.3, h)), 0),
        ("disagreeing", lambda t, h, at: (t, np.where(since(at), h + 22.0, h)), 1),
        ("disagreeing", lambda t, h, at: (np.where(since(at), t - 4.0, t), h), 1),
        ("saturated", lambda t, h, at: (t, np.where(since(at), 100.0, h)), 0),
        ("out of range", lambda t, h, at: (t, np.where(since(at), 0.0, h)), 0),
        ("out of range", lambda t, h, at: (np.where(since(at), 75.0, t), h), 0),
    ],
)
def test_a_node_is_left_out_from_the_faults_start(
    kind: str, change: Callable[..., tuple[Floats, Floats]], late: int
) -> None:
    faults = [one for one in three(change) if one.kind == kind]
    assert [(one.node, one.end) for one in faults] == [("n2", None)]
    assert abs(faults[0].start - FROM) <= (5 + late * 60) * MINUTE_MS
    assert {one.node for one in three(change)} == {"n2"}


def test_it_comes_back_by_itself() -> None:
    faults = three(lambda t, h, at: (t, np.where(since(at, 8.0), h + 25.0, h)))
    assert [(one.node, one.kind) for one in faults] == [("n2", "disagreeing")]
    assert faults[0].end is not None
    assert abs(faults[0].end - (FROM + 8 * HOUR_MS)) <= 65 * MINUTE_MS


def test_the_sun_on_a_node_is_told_from_a_wrong_one() -> None:
    # Heat adds no vapour: warmed by 4 K in the sun a node says a lower humidity at the same vapour pressure.
    def sun(t: Floats, h: Floats, at: NDArray[np.int64]) -> tuple[Floats, Floats]:
        lit = since(at, 3.0)
        vapour = vapour_pressure_pa(t, h)
        warm = np.where(lit, t + 4.0, t)
        return warm, np.where(lit, relative_humidity_pct(warm, vapour), h)

    assert [(one.node, one.kind) for one in three(sun)] == [("n2", "warmed")]
    times, temp, rh = smooth()
    pair = {"n1": trace(times, temp, rh), "n2": trace(times, *sun(temp, rh, times))}
    assert [(one.node, one.kind) for one in found(pair)] == [("n2", "warmed")]


def test_of_two_that_disagree_neither_is_left_out_and_it_is_said_once() -> None:
    times, temp, rh = smooth()
    pair = {"n1": trace(times, temp, rh), "n2": trace(times, temp, np.where(since(times), rh + 20.0, rh))}
    [fault] = found(pair)
    assert (fault.node, fault.beside, fault.kind, fault.end) == ("n1", "n2", "at odds", None)
    assert not fault.leaves_out


def test_a_node_that_jumps() -> None:
    times, temp, rh = smooth()
    odd = temp.copy()
    odd[1200:1260:7] += 9.0
    faults = found({"n1": trace(times, odd, rh)})
    assert [(one.node, one.kind) for one in faults] == [("n1", "jumping")]
    assert abs(faults[0].start - times[1200]) <= MINUTE_MS
    # A door that is opened in the cold: down at once and slowly up again is air.
    door = temp - np.where(times >= times[1200], 7.0 * np.exp(-(times - times[1200]) / HOUR_MS), 0.0)
    assert found({"n1": trace(times, door, rh)}) == []


def test_alone_a_node_is_stuck_after_two_days_of_both_figures() -> None:
    times, temp, rh = smooth(96.0)
    still = (times >= FROM) & (times < FROM + 50 * HOUR_MS)
    both = found({"n1": trace(times, np.where(still, 19.1, temp), np.where(still, 47.3, rh))})
    assert [(one.kind, one.start) for one in both] == [("stuck", FROM)]
    assert found({"n1": trace(times, np.where(still, 19.1, temp), rh)}) == []


@cache
def office() -> tuple[NDArray[np.int64], Floats, Floats]:
    """A real office room in February 2015, each 16 minutes (Candanedo and Feldheim 2016), as river has it."""
    text = files("river.drift.datasets").joinpath("occupancy.csv").read_text()
    rows = list(csv.DictReader(text.splitlines()))  # V1 is °C, V2 %RH
    said = [parse_time(row["time"].replace(" ", "T") + "Z") for row in rows]
    times = np.array([START + time - said[0] for time in said], dtype=np.int64)
    return times, np.array([float(row["V1"]) for row in rows]), np.array([float(row["V2"]) for row in rows])


RESOLUTIONS = [(0.01, 0.01), (0.1, 0.1), (0.1, 1.0), (1.0, 1.0)]
ERRORS = [(-0.3, 3.0), (0.25, -2.5), (0.1, 1.0)]
"""Within what a usual digital sensor's data sheet allows: ± 0.3 K, ± 3 %RH (from memory)."""


def rounded(values: Floats, step: float) -> Floats:
    return np.round(np.round(values / step) * step, 6)


@pytest.mark.parametrize(("resolution", "count"), list(product(RESOLUTIONS, (1, 2, 3))))
def test_no_node_is_accused_over_a_week_of_real_office_air(
    resolution: tuple[float, float], count: int
) -> None:
    times, temp, rh = office()
    assert times[-1] - times[0] > 5.5 * DAY_MS
    minutes = np.arange(times[0], times[-1], MINUTE_MS, dtype=np.int64)
    for said in (times, minutes):
        traces = {
            f"n{at}": trace(
                said,
                rounded(np.interp(said, times, temp) + dt, resolution[0]),
                rounded(np.interp(said, times, rh) + dh, resolution[1]),
            )
            for at, (dt, dh) in enumerate(ERRORS[:count])
        }
        assert found(traces) == []


@pytest.mark.parametrize("resolution", RESOLUTIONS)
def test_no_node_is_accused_over_a_fortnight_of_a_shops_air_in_real_weather(
    resolution: tuple[float, float],
) -> None:
    air = ShopAir(fortnight(), Room(), START)
    times = np.arange(START, START + 13 * DAY_MS, 10 * MINUTE_MS, dtype=np.int64)
    temp, rh = np.array([air.at(int(time)) for time in times]).T
    traces = {
        f"n{at}": trace(times, rounded(temp + dt, resolution[0]), rounded(rh + dh, resolution[1]))
        for at, (dt, dh) in enumerate(ERRORS)
    }
    assert found(traces) == []


WORDS = st.lists(
    st.tuples(
        st.integers(0, 160),
        st.sampled_from([18.0, 18.0, 21.0, 30.0]),
        st.sampled_from([0.0, 50.0, 50.0, 100.0]),
    ),
    max_size=40,
)


@settings(deadline=None, max_examples=60)
@given(st.lists(WORDS, min_size=1, max_size=3), st.integers(65, 150))
def test_a_rule_is_local(said: list[list[tuple[int, float, float]]], split: int) -> None:
    """Found over the whole record or over what is near enough, a moment's faults are the same."""
    traces: dict[str, NodeTrace] = {}
    for number, words in enumerate(said):
        by_time = {START + hour * HOUR_MS: (temp, rh) for hour, temp, rh in words}
        times = np.array(sorted(by_time), dtype=np.int64)
        figures = np.array([by_time[time] for time in sorted(by_time)]).reshape(-1, 2)
        if len(times):
            traces[f"n{number}"] = trace(times, figures[:, 0], figures[:, 1])
    if not traces:
        return
    end = max(one.last for one in traces.values())
    whole = find_faults(traces, START, end, GAP)
    since_ms = START + split * HOUR_MS
    near = {node: _from(one, since_ms - REACH_MS - GAP) for node, one in traces.items()}
    late = find_faults({node: one for node, one in near.items() if one.last}, since_ms, end, GAP)
    for node, one in traces.items():
        for time in range(since_ms, one.last + 1, 5 * MINUTE_MS):
            holds, again = (
                {(fault.kind, fault.beside) for fault in faults if fault.node == node and fault.holds(time)}
                for faults in (whole, late)
            )
            assert holds == again, (node, time)


def _from(one: NodeTrace, start: Millis) -> NodeTrace:
    def cut(said: Said) -> Said:
        kept = said.times >= start
        return Said(said.times[kept], said.values[kept])

    return NodeTrace(cut(one.temperature), cut(one.humidity))
