"""Quiet hours by the clock on the shop's wall, through both changes of clocks."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from scheduler.quiet import QuietHours
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis, parse_time

HELSINKI = ZoneInfo("Europe/Helsinki")
NIGHT = QuietHours(time(21), time(7), HELSINKI)

CLOCKS = st.times(max_value=time(23, 59)).map(lambda clock: clock.replace(second=0, microsecond=0))
MOMENTS = st.integers(parse_time("2026-01-01T00:00:00Z"), parse_time("2027-01-01T00:00:00Z"))


def test_an_ordinary_night() -> None:
    """By hand: Helsinki is two hours ahead of UTC in winter."""
    for moment, quiet in (
        ("2026-03-02T18:59:59Z", False),
        ("2026-03-02T19:00:00Z", True),
        ("2026-03-03T04:59:59Z", True),
        ("2026-03-03T05:00:00Z", False),
    ):
        assert NIGHT.holds(parse_time(moment)) is quiet, moment
    assert NIGHT.ends_after(parse_time("2026-03-02T22:00:00Z")) == parse_time("2026-03-03T05:00:00Z")
    assert NIGHT.ends_after(parse_time("2026-03-02T12:00:00Z")) is None


def test_an_afternoon_can_be_quiet_and_the_same_time_twice_is_never() -> None:
    nap = QuietHours(time(13), time(14, 30), HELSINKI)
    assert nap.holds(parse_time("2026-03-02T11:00:00Z"))
    assert not nap.holds(parse_time("2026-03-02T12:30:00Z"))
    never = QuietHours(time(9), time(9), HELSINKI)
    assert not any(never.holds(DAY_MS * 20000 + hour * HOUR_MS) for hour in range(24))


def test_the_night_clocks_go_forward_is_an_hour_shorter_and_ends_at_seven() -> None:
    """29 March 2026, 03:00 becomes 04:00 (IANA time zone database)."""
    end = NIGHT.ends_after(parse_time("2026-03-28T20:00:00Z"))
    assert end == parse_time("2026-03-29T04:00:00Z")
    assert end - parse_time("2026-03-28T19:00:00Z") == 9 * HOUR_MS


def test_the_night_clocks_go_back_is_an_hour_longer_and_ends_once() -> None:
    """25 October 2026, 04:00 becomes 03:00: what ends at 03:30 ends the second time it is 03:30."""
    end = NIGHT.ends_after(parse_time("2026-10-24T20:00:00Z"))
    assert end == parse_time("2026-10-25T05:00:00Z")
    assert end - parse_time("2026-10-24T18:00:00Z") == 11 * HOUR_MS
    early = QuietHours(time(21), time(3, 30), HELSINKI)
    ends = [
        moment
        for moment in range(parse_time("2026-10-24T20:00:00Z"), parse_time("2026-10-25T06:00:00Z"), MINUTE_MS)
        if early.holds(moment - MINUTE_MS) and not early.holds(moment)
    ]
    assert ends == [parse_time("2026-10-25T01:30:00Z")]


def test_an_end_in_the_hour_that_is_left_out_comes_once() -> None:
    skipped = QuietHours(time(21), time(3, 30), HELSINKI)
    assert skipped.ends_after(parse_time("2026-03-28T20:00:00Z")) == parse_time("2026-03-29T01:30:00Z")


@given(CLOCKS, CLOCKS, MOMENTS)
def test_what_is_quiet_stays_so_until_its_end_and_not_at_it(begins: time, ends: time, now: Millis) -> None:
    quiet = QuietHours(begins, ends, HELSINKI)
    end = quiet.ends_after(now)
    if end is None:
        return
    assert now < end <= now + 25 * HOUR_MS
    assert quiet.ends_after(end - 1) == end
    assert quiet.ends_after((now + end) // 2) == end
    local = datetime.fromtimestamp(end / 1000, UTC).astimezone(HELSINKI)
    # But for the hour that no clock shows, it is the time that was set when it ends.
    assert (local.hour, local.minute) == (ends.hour, ends.minute) or local.date().isoformat() == "2026-03-29"


@given(CLOCKS, CLOCKS, MOMENTS)
def test_on_ordinary_days_it_is_what_the_clock_says(begins: time, ends: time, now: Millis) -> None:
    """A second way to the same: compare the times of day themselves."""
    local = datetime.fromtimestamp(now / 1000, UTC).astimezone(HELSINKI)
    if local.date().isoformat() in ("2026-03-28", "2026-03-29", "2026-10-24", "2026-10-25"):
        return
    clock = local.time()
    over_midnight = begins > ends
    said = (clock >= begins or clock < ends) if over_midnight else (begins <= clock < ends)
    assert QuietHours(begins, ends, HELSINKI).holds(now) is said
