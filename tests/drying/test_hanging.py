"""Points of a load cell: quiet ones are kept; hands, a tree taken off and a next coat are no drying."""

import random

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from sensors.clock import MINUTE_MS, Millis
from server.drying.hanging import AFTER_MIN, hung_points, middle_slope

LONG = 600
COAT_KG = 0.1


def curve(minutes: int = LONG, noise_kg: float = 0.001) -> list[tuple[Millis, float]]:
    """A tree of 3 kg that loses 80 g, half of it in each two hours."""
    draw = random.Random(5)
    return [
        (t * MINUTE_MS, 2.92 + 0.08 * 0.5 ** (t / 120) + draw.gauss(0.0, noise_kg)) for t in range(minutes)
    ]


def points(said: list[tuple[Millis, float]]) -> dict[int, float]:
    """The points by their minute."""
    return {round(at / MINUTE_MS): kg for at, kg in hung_points(said, 0, LONG * MINUTE_MS, COAT_KG)}


def changed(start: int, end: int, by_kg: float) -> list[tuple[Millis, float]]:
    """The curve with a step in start ≤ minute < end."""
    return [(at, kg + by_kg if start <= at // MINUTE_MS < end else kg) for at, kg in curve()]


@given(
    st.lists(
        st.tuples(st.integers(0, 600_000), st.integers(0, 20_000).map(lambda g: g / 1000)),
        min_size=3,
        max_size=12,
    )
)
def test_the_middle_slope_is_scipys(points: list[tuple[Millis, float]]) -> None:
    """Against scipy.stats.theilslopes, an independent program."""
    times = [at for at, _ in points]
    assume(len(set(times)) > 1)
    with np.errstate(invalid="ignore"):  # of its confidence limits, with many ties
        wanted = float(theilslopes([kg for _, kg in points], times).slope)
    assert middle_slope(points) == pytest.approx(wanted, rel=1e-9, abs=1e-15)


def test_there_is_a_point_for_each_planned_minute_and_its_median_is_near_the_truth() -> None:
    found = points(curve())
    assert tuple(found) == AFTER_MIN
    assert all(abs(kg - 2.92 - 0.08 * 0.5 ** (t / 120)) < 0.0015 for t, kg in found.items())


def test_a_short_touch_moves_no_point() -> None:
    clean, touched = points(curve()), points(changed(88, 91, 1.5))
    assert touched.keys() == clean.keys()
    assert abs(touched[90] - clean[90]) < 0.001


def test_a_hand_that_stays_on_the_tree_leaves_no_point() -> None:
    swinging = [(at, kg + 0.1 * (-1) ** n if 80 <= n <= 100 else kg) for n, (at, kg) in enumerate(curve())]
    assert tuple(points(swinging)) == (10, 30, 180, 540)


def test_a_tree_taken_off_and_hung_again_lost_no_water_by_it() -> None:
    assert tuple(points(changed(170, 200, -3.0))) == (10, 30, 90, 540)
    assert tuple(points(changed(170, 200, -0.5))) == (10, 30, 90, 540)


def test_a_coat_that_was_not_said_ends_the_curve() -> None:
    assert tuple(points(changed(120, LONG, 0.3))) == (10, 30, 90)


def test_nothing_is_made_of_an_empty_hook_or_of_too_few_readings() -> None:
    assert hung_points([(t * MINUTE_MS, 0.001) for t in range(LONG)], 0, LONG * MINUTE_MS) == ()
    assert hung_points(curve()[9:11], 0, LONG * MINUTE_MS) == ()


def test_nothing_is_read_beyond_the_time_the_tree_left() -> None:
    assert [at for at, _ in hung_points(curve(), 0, 34 * MINUTE_MS)] == [10 * MINUTE_MS]
