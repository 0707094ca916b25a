"""A tree's way to burnout, by members: forwards to the earliest day, backwards to the latest dips."""

from hypothesis import given
from hypothesis import strategies as st

from scheduler.pour_day import NEVER, TreeWay, burnout, coats_ahead, latest_dips
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS

DIP = 8 * MINUTE_MS
WINDOWS = [(day * DAY_MS + 8 * HOUR_MS, day * DAY_MS + 18 * HOUR_MS) for day in range(30)]


def way(*dry_h: tuple[float, ...], ready_h: float = 8.0) -> TreeWay:
    members = len(dry_h[0])
    hours = tuple(tuple(round(one * HOUR_MS) for one in row) for row in dry_h)
    return TreeWay((round(ready_h * HOUR_MS),) * members, hours, (1.0 / members,) * members)


def test_a_coat_that_is_dry_at_night_waits_for_the_morning() -> None:
    first, second = coats_ahead(way((11.0,), (24.0,)), WINDOWS, DIP)
    assert first.dips == (8 * HOUR_MS,) * 3
    assert second.dips == (DAY_MS + 8 * HOUR_MS,) * 3
    assert burnout(way((11.0,), (24.0,)), WINDOWS, DIP)[1] == 2 * DAY_MS + 8 * HOUR_MS + DIP


def test_the_latest_dips_are_before_closing_and_leave_the_time_that_the_coats_need() -> None:
    # Burnout on day 3 at noon: the last coat needs 24 h, so it is on by day 2, noon less a dip.
    first, last = latest_dips(way((6.0,), (24.0,)), 3 * DAY_MS + 12 * HOUR_MS, WINDOWS, DIP)
    assert last.half == last.nine_in_ten == 2 * DAY_MS + 12 * HOUR_MS - DIP
    # Six hours and a dip before that is 05:44, when nobody works: the evening before.
    assert first.half == DAY_MS + 18 * HOUR_MS - DIP


def test_nine_in_ten_must_dip_earlier_than_one_in_two() -> None:
    spread = way(tuple(2.0 + member for member in range(10)), ready_h=8.0)
    (late,) = latest_dips(spread, 3 * DAY_MS, WINDOWS, DIP)
    assert late.half is not None
    assert late.nine_in_ten is not None
    assert late.nine_in_ten < late.half


def test_what_has_no_hours_of_work_never_comes() -> None:
    assert burnout(way((6.0,)), [], DIP) == (NEVER, NEVER, NEVER)
    assert latest_dips(way((6.0,)), 3 * DAY_MS, [], DIP)[0].half is None


@given(
    st.lists(st.floats(0.5, 30.0), min_size=1, max_size=6),
    st.integers(2, 20),
    st.floats(0.0, 48.0),
)
def test_who_dips_by_the_latest_time_makes_it_and_who_comes_later_does_not(
    hours: list[float], days: int, ready_h: float
) -> None:
    one = way(*((round(hour, 2),) for hour in hours), ready_h=ready_h)
    at = days * DAY_MS + 12 * HOUR_MS
    late = latest_dips(one, at, WINDOWS, DIP)[0].half
    meets = burnout(one, WINDOWS, DIP)[1] <= at
    first = coats_ahead(one, WINDOWS, DIP)[0].dips[1]
    assert meets == (late is not None and first <= late)
