"""Gaps in the air are bridged by the worst air of that hour: never faster than the real days, to the bit."""

import random
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.air import Air, PlaceAir
from sensors.bridging import (
    NEW_RH_PCT,
    NEW_TEMP_C,
    SENSOR_RH_PCT,
    SENSOR_TEMP_C,
    Bridge,
    joined,
    worst_air,
)
from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from server.coat_verdicts import coat_verdicts
from server.judged_state import from_blob, to_blob
from server.judging import TreeJudge
from server.shop_rules import gap_limit_said
from server.tree_record import Committed
from tests.service.records import START, judge, record, steady

DAY = 24 * HOUR_MS
BLOCK = 10 * MINUTE_MS
DIP = 72.0
"""Hours after the start at which the coat goes on: three days are known then."""


def days(rh_pct: Sequence[float], first: Millis = START) -> list[Reading]:
    """A day of steady air after the other, with half an hour between."""
    return [one for day, rh in enumerate(rh_pct) for one in steady(first + day * DAY, 23.5, rh_pct=rh)]


def committed(judged: TreeJudge) -> Committed:
    assert judged.state is not None
    return judged.state


def bits(judged: TreeJudge) -> bytes:
    return to_blob(committed(judged))


def test_the_worst_of_the_last_three_days_at_that_hour_is_taken_and_widened() -> None:
    air = record([*days([45.0, 70.0, 55.0]), *steady(START + 3 * DAY, 2, rh_pct=50.0)])
    gap = START + 3 * DAY + 2 * HOUR_MS
    first = worst_air(air, gap, gap + BLOCK)
    assert first is not None
    # The range of those hours is 45 to 70 %RH (the wet day decides); half of it is added over six hours.
    assert first.rh_pct == pytest.approx(70.0 + SENSOR_RH_PCT + 12.5 * BLOCK / (6 * HOUR_MS), abs=1e-6)
    assert first.temp_c == pytest.approx(21.0 - SENSOR_TEMP_C, abs=1e-6)
    later = worst_air(air, gap + 7 * HOUR_MS, gap + 7 * HOUR_MS + BLOCK)
    assert later is not None
    assert later.rh_pct == pytest.approx(70.0 + SENSOR_RH_PCT + 12.5, abs=1e-6)


def test_a_new_place_takes_its_last_day_and_is_widened_more() -> None:
    gap = START + 4 * HOUR_MS
    found = worst_air(record(steady(START, 4)), gap + 6 * HOUR_MS, gap + 6 * HOUR_MS + BLOCK)
    assert found is not None
    assert found.rh_pct == pytest.approx(50.0 + SENSOR_RH_PCT + NEW_RH_PCT, abs=1e-6)
    assert found.temp_c == pytest.approx(21.0 - SENSOR_TEMP_C - NEW_TEMP_C, abs=1e-6)


def test_where_nothing_is_known_nothing_is_made_up() -> None:
    assert worst_air(PlaceAir(0.6), START, START + BLOCK) is None
    old = record(steady(START, 4))
    assert worst_air(old, START + 5 * DAY, START + 5 * DAY + BLOCK) is None


def test_what_comes_after_the_gap_does_not_change_its_bridge() -> None:
    before = steady(START, 30, rh_pct=55.0)
    gap = START + 33 * HOUR_MS
    alone = worst_air(record(before), gap, gap + BLOCK)
    assert worst_air(record([*before, *steady(gap + HOUR_MS, 9, rh_pct=90.0)]), gap, gap + BLOCK) == alone


@pytest.mark.parametrize("of_the_gap", [40.0, 60.0, 72.0])
def test_a_bridged_coat_takes_at_least_as_long_as_in_any_of_the_last_days(of_the_gap: float) -> None:
    """The days before had 40, 60 and 72 %RH: whichever the gap really was, the bridge is slower."""
    before, dip = days([40.0, 60.0, 72.0]), START + 3 * DAY
    start = steady(dip, 0.5, rh_pct=60.0)
    after = steady(dip + 4 * HOUR_MS, 60, rh_pct=60.0)
    real = steady(dip + 35 * MINUTE_MS, 3.3, rh_pct=of_the_gap)
    bridged = judge(record([*before, *start, *after]), hours=(DIP,), spots=("joint:60",))
    known = judge(record([*before, *start, *real, *after]), hours=(DIP,), spots=("joint:60",))
    bridged.advance(START + 10 * DAY)
    known.advance(START + 10 * DAY)
    slow, real_coat = committed(bridged).coats[-1], committed(known).coats[-1]
    assert slow.fit_at is not None
    assert real_coat.fit_at is not None
    assert slow.fit_at >= real_coat.fit_at
    assert real_coat.bridges == ()


def test_a_bridged_coat_dries_and_is_marked_with_what_was_assumed() -> None:
    air = record([*days([50.0, 55.0, 50.0]), *steady(START + 3 * DAY, 1), *steady(START + 79 * HOUR_MS, 40)])
    judged = judge(air, hours=(DIP,), spots=("face",))
    judged.advance(START + 79 * HOUR_MS)
    coat = committed(judged).coats[-1]
    left = [value for at, value in committed(judged).curves[0] if at > START + 73 * HOUR_MS + BLOCK]
    assert left[-1] < 0.8 * left[0]
    ((start, end),) = coat.gaps
    (bridge,) = coat.bridges
    assert (bridge.start, bridge.end) == (start, end)
    assert 57.0 <= bridge.highest_rh_pct <= 62.0
    (verdict,) = coat_verdicts(judged.tree, committed(judged).coats)
    assert "as bad as the worst of that hour in the last days" in verdict.warnings[0]
    kept = from_blob(bits(judged), judged.dips)
    assert kept.coats[-1].bridges == coat.bridges


def test_nothing_becomes_fit_inside_a_gap() -> None:
    """The gap is three times as long as the coat needs in that air, and yet it is not called fit in it."""
    before = days([40.0, 40.0, 40.0])
    gap_end = START + 96 * HOUR_MS
    air = record([*before, *steady(START + 3 * DAY, 1, rh_pct=40.0), *steady(gap_end, 5, rh_pct=40.0)])
    judged = judge(air, hours=(DIP,), spots=("face",))
    judged.advance(gap_end)
    assert committed(judged).at == gap_end
    assert committed(judged).coats[-1].fit_at is None
    judged.advance(START + 10 * DAY)
    fit_at = committed(judged).coats[-1].fit_at
    assert fit_at is not None
    assert gap_end < fit_at <= gap_end + HOUR_MS


def test_a_nodes_buffer_that_comes_after_a_day_is_judged_as_if_it_had_come_in_time() -> None:
    before, buffered = days([50.0, 60.0, 55.0]), steady(START + 73 * HOUR_MS, 23.9, rh_pct=45.0)
    start, after = steady(START + 3 * DAY, 0.9), steady(START + 97 * HOUR_MS, 20)
    in_time = judge(record([*before, *start, *buffered, *after]), hours=(DIP,), spots=("face",))
    in_time.advance(START + 10 * DAY)
    air = record([*before, *start, *after[:4]])
    late = judge(air, hours=(DIP,), spots=("face",))
    late.advance(START + 97 * HOUR_MS)
    assert committed(late).coats[-1].bridges
    for at in range(0, len(buffered), 144):  # in its order, some hours at a time
        changed = air.add(buffered[at : at + 144])
        if changed is not None:
            late.rewind(changed)
        late.advance(START + 97 * HOUR_MS)
    air.add(after)
    late.advance(START + 10 * DAY)
    assert committed(late).coats[-1].bridges == ()
    assert bits(late) == bits(in_time)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 2**32), parts=st.integers(1, 6), gap_h=st.sampled_from([2.0, 5.0, 11.0]))
def test_any_order_of_arrival_and_any_looks_give_the_same_to_the_bit(
    seed: int, parts: int, gap_h: float
) -> None:
    said = [
        *steady(START, 30, rh_pct=55.0, step=30 * MINUTE_MS),
        *steady(START + round((30.5 + gap_h) * HOUR_MS), 8, rh_pct=48.0, step=30 * MINUTE_MS),
    ]
    whole = judge(record(said), hours=(28.0,), spots=("face",))
    whole.advance(START + 10 * DAY)
    assert committed(whole).coats[-1].bridges
    chance = random.Random(seed)
    mixed = said.copy()
    chance.shuffle(mixed)
    air = PlaceAir(0.6)
    judged = judge(air, hours=(28.0,), spots=("face",))
    size = -(-len(mixed) // parts)
    for at in range(0, len(mixed), size):
        changed = air.add(mixed[at : at + size])
        if changed is not None:
            judged.rewind(changed)
        judged.advance(START + round(chance.uniform(0, 60) * HOUR_MS))
    judged.advance(START + 10 * DAY)
    assert bits(judged) == bits(whole)


def test_bridges_that_follow_on_each_other_are_one() -> None:
    one, two = Bridge(0, 10, 18.0, 60.0, 0.5), Bridge(10, 20, 17.0, 55.0, 0.6)
    assert joined((one,), two) == (Bridge(0, 20, 17.0, 60.0, 0.5),)
    assert joined((one,), Bridge(30, 40, 17.0, 55.0, 0.6)) == (one, Bridge(30, 40, 17.0, 55.0, 0.6))


def test_the_slowest_air_is_by_drying_and_not_by_humidity_alone() -> None:
    """Cold air of 60 %RH takes up less than warm air of 65 %RH at its wet bulb."""
    air = record(
        [
            *steady(START, 2, temp_c=8.0, rh_pct=60.0),
            *steady(START + 3 * HOUR_MS, 2, rh_pct=65.0, temp_c=28.0),
        ]
    )
    gap = START + 5 * HOUR_MS
    found = worst_air(air, gap, gap + BLOCK)
    assert isinstance(found, Air)
    assert found.temp_c < 8.0


@pytest.mark.parametrize("minutes", [29, 721, 90.5, "two hours", True])
def test_a_gap_limit_that_cannot_be_is_refused_with_its_range(minutes: object) -> None:
    with pytest.raises(ValueError, match="from 30 to 720"):
        gap_limit_said(minutes)
