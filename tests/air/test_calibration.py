"""Lines through points, their limits and their use; and a jar that settles."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.calibration import CalibrationError, Correction, Corrections, Point, due, fit_line
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS
from sensors.reading import Reading
from sensors.settling import Settling, settling


def said(value: float, time: int = 0, name: str = "humidity", node: str = "n1") -> Reading:
    return Reading("shop", node, name, "%RH" if name == "humidity" else "Cel", value, time)


def test_one_point_shifts() -> None:
    line = fit_line("humidity", [Point(78.0, 75.3, 0.5)])
    assert line.shift == pytest.approx(-2.7)
    assert (line.slope, line.residual) == (1.0, None)
    assert (line.low, line.high) == (68.0, 88.0)


@given(st.floats(0.85, 1.2), st.floats(-3.0, 3.0))
def test_two_points_give_their_line_back(slope: float, shift: float) -> None:
    points = [Point(value, slope * value + shift, error) for value, error in ((33.0, 0.3), (72.0, 0.8))]
    if any(abs(point.right - point.said) > 15.0 for point in points):
        return
    line = fit_line("humidity", points)
    assert line.slope == pytest.approx(slope, abs=1e-6)
    assert line.shift == pytest.approx(shift, abs=1e-4)
    assert line.residual is None


def test_three_points_leave_a_residual_and_the_surer_ones_weigh_more() -> None:
    points = [Point(33.0, 33.0, 0.2), Point(75.0, 75.0, 0.2), Point(54.0, 57.0, 2.0)]
    line = fit_line("humidity", points)
    assert line.residual is not None
    # The odd point weighs a hundredth of the others: they are missed by little, it by nearly its 3 %RH.
    assert 2.9 < line.residual < 3.0
    even = fit_line("humidity", [Point(one.said, one.right, 1.0) for one in points])
    assert even.residual == pytest.approx(2.0)


def test_points_near_each_other_tell_no_slope() -> None:
    line = fit_line("humidity", [Point(50.0, 52.0, 1.0), Point(55.0, 54.0, 1.0)])
    assert line.slope == 1.0
    assert line.shift == pytest.approx(0.5)
    assert line.residual == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("quantity", "points", "words"),
    [
        ("humidity", [Point(40.0, 56.0, 1.0)], "40.0 %RH would be moved by .16.0 %RH, more than 15 %RH"),
        ("temperature", [Point(20.0, 14.0, 0.2)], "20.0 °C would be moved by -6.0 K, more than 5 K"),
        ("humidity", [Point(40.0, 33.0, 1.0), Point(64.0, 75.0, 1.0)], "slope would be 1.75, outside 0.8 to"),
        ("humidity", [Point(101.0, 97.0, 1.0)], "the node's humidity 101 %RH is outside 0 to 100 %RH"),
        ("humidity", [Point(math.nan, 97.0, 1.0)], "the node's humidity nan"),
        ("humidity", [Point(50.0, 50.0, 0.0)], "the error 0"),
        ("temperature", [], "needs one point"),
    ],
)
def test_what_cannot_be_is_refused_with_its_figures(quantity: str, points: list[Point], words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        fit_line(quantity, points)


def test_corrections_hold_from_their_time_on_and_the_latest_is_used() -> None:
    lines = [
        Correction("n1", "humidity", 200, 1.0, 5.0),
        Correction("n1", "humidity", 100, 1.1, -2.0),
        Correction("n1", "humidity", 200, 1.0, 7.0),
        Correction("n2", "temperature", 0, 1.0, 1.0),
    ]
    corrected = Corrections(lines)
    values = [corrected.apply(said(50.0, time)).value for time in (99, 100, 199, 200, 900)]
    assert values == [50.0, pytest.approx(53.0), pytest.approx(53.0), 57.0, 57.0]
    untouched = said(50.0, 500, node="n3")
    assert corrected.apply(untouched) is untouched
    assert corrected.apply(said(20.0, 5, "temperature", "n2")).value == 21.0
    assert corrected.apply(said(20.0, 5, "temperature")).value == 20.0


def test_corrected_humidity_stays_within_its_bounds() -> None:
    lines = [Correction("n1", "humidity", 0, 1.0, 4.0), Correction("n2", "humidity", 0, 1.0, -4.0)]
    corrected = Corrections(lines)
    assert corrected.apply(said(99.0)).value == 100.0
    assert corrected.apply(said(1.0, node="n2")).value == 0.0


def test_calibration_comes_due_after_a_year() -> None:
    done = [("n1", 0), ("n2", 0), ("n2", 300 * DAY_MS)]
    assert due(done, ["n1", "n2", "n3"], 365 * DAY_MS) == ["n3"]
    assert due(done, ["n1", "n2", "n3"], 366 * DAY_MS) == ["n1", "n3"]


def jar(hours: float, tau_h: float = 1.2, swing_k: float = 0.1, step: float = 0.01) -> Settling:
    """A jar that goes from 50 to 75.3 %RH exponentially, read each five minutes to `step` [%RH]."""
    now = round(hours * HOUR_MS)
    told = []
    for time in range(0, now + 1, 5 * MINUTE_MS):
        humidity = 75.3 - 25.3 * math.exp(-time / HOUR_MS / tau_h)
        told.append(said(round(humidity / step) * step, time))
        told.append(said(20.0 + swing_k * math.sin(time / HOUR_MS), time, "temperature"))
    return settling(told, 0, now)


def test_a_jar_is_settled_when_little_is_still_to_go() -> None:
    first = next(hours / 4 for hours in range(200) if jar(hours / 4).settled)
    assert 4.0 < first < 12.0
    state = jar(first)
    assert state.humidity_pct is not None
    assert abs(state.humidity_pct - 75.3) < 1.0
    assert state.temp_c == pytest.approx(20.0, abs=0.1)
    assert jar(first + 6.0).settled


@pytest.mark.parametrize("step", [0.01, 0.1])
def test_the_sensors_resolution_does_not_matter_to_it(step: float) -> None:
    assert jar(9.0, step=step).settled
    assert not jar(4.5, tau_h=3.0, step=step).settled


@pytest.mark.parametrize(
    ("state", "words"),
    [
        (jar(0.2), "6 of each are needed"),
        (jar(3.0, tau_h=0.1), "left closed for 4 h at least"),
        (jar(5.0, tau_h=3.0), "still moves by"),
        (jar(12.0, swing_k=3.0), "its temperature moved by"),
        (settling([], 0, HOUR_MS), "0 readings"),
    ],
)
def test_a_jar_that_is_not_settled_says_why(state: Settling, words: str) -> None:
    assert not state.settled
    assert words in state.why_not


def test_a_node_that_fell_silent_is_not_settled() -> None:
    told = [
        said(75.0, time, name)
        for time in range(0, 6 * HOUR_MS, MINUTE_MS)
        for name in ("humidity", "temperature")
    ]
    assert settling(told, 0, 6 * HOUR_MS).settled
    assert "no humidity for 31 min" in settling(told, 0, 6 * HOUR_MS + 30 * MINUTE_MS).why_not
