"""One tree through its record: blocks, dips, gaps, latched fitness, the same numbers however reached."""

from dataclasses import replace

import pytest

from sensors.clock import HOUR_MS, MINUTE_MS
from server.coat_verdicts import coat_verdicts, last_spot
from server.judged_state import StaleStateError, from_blob, state_key, to_blob
from server.judging import TreeJudge
from server.tree_record import Committed
from tests.service.records import START, dips_at, judge, record, steady, tree

DAY = START + 24 * HOUR_MS


def committed(judged: TreeJudge) -> Committed:
    assert judged.state is not None
    return judged.state


def bits(judged: TreeJudge) -> bytes:
    return to_blob(committed(judged))


def test_a_coat_comes_fit_and_its_joint_is_the_last() -> None:
    judged = judge(record(steady(START, 24)))
    judged.advance(DAY)
    coat = committed(judged).coats[-1]
    assert coat.fit_at is not None
    assert START + 30 * MINUTE_MS < coat.fit_at < DAY
    assert last_spot(coat) == 1
    face, joint = coat.spot_fit_at
    assert face is not None
    assert joint is not None
    assert face < joint == coat.fit_at


def test_live_restarted_and_replayed_agree_to_the_bit() -> None:
    readings = steady(START, 12)
    whole = judge(record(readings), hours=(0.05, 6.0))
    whole.advance(DAY)

    live_air = record(readings[:2])
    live = judge(live_air, hours=(0.05, 6.0))
    for index in range(2, len(readings), 2):
        changed = live_air.add(readings[index : index + 2])
        if changed is not None:
            live.rewind(changed)
        live.advance(readings[index].time)
        if index % 20 == 0 and live.state is not None:
            # As after a restart: nothing is left but the bytes of the last state.
            state = from_blob(to_blob(live.state), live.dips)
            live = TreeJudge(live.tree, live.dips, live_air, state)
    live.advance(DAY)

    assert committed(live).at == committed(whole).at
    assert bits(live) == bits(whole)


def test_a_late_reading_is_judged_as_if_it_had_come_in_time() -> None:
    readings = steady(START, 8)
    damp = steady(START + 2 * HOUR_MS, 1, rh_pct=80.0, node="n2")
    in_time = judge(record([*readings, *damp]))
    in_time.advance(DAY)
    air = record(readings)
    late = judge(air)
    late.advance(DAY)
    before = bits(late)
    changed = air.add(damp)
    assert changed is not None
    late.rewind(changed)
    late.advance(DAY)
    assert bits(late) == bits(in_time) != before


def test_a_gap_after_which_nothing_is_known_is_taken_as_no_drying() -> None:
    # The gap is longer than the last days reach, so that there is nothing to bridge its end with.
    air = record([*steady(START, 1), *steady(START + 120 * HOUR_MS, 24)])
    judged = judge(air, spots=("joint:30",))
    judged.advance(START + 120 * HOUR_MS)
    during = committed(judged)
    assert during.at == START + 120 * HOUR_MS
    assert during.air is None
    assert during.coats[-1].fit_at is None
    bridged = during.coats[-1].bridges
    assert [(one.start, one.end) for one in bridged] == [(START + HOUR_MS, START + 73 * HOUR_MS)]
    left = [value for at, value in during.curves[0] if at >= START + 73 * HOUR_MS]
    assert left[0] == pytest.approx(left[-1], abs=1e-3)
    assert during.coats[-1].gaps == ((START + HOUR_MS, START + 120 * HOUR_MS),)


@pytest.mark.parametrize(("temp_c", "rh_pct"), [(-15.0, 50.0), (70.0, 5.0)])
def test_air_that_the_model_does_not_cover_is_as_good_as_none(temp_c: float, rh_pct: float) -> None:
    judged = judge(record(steady(START, 12, temp_c=temp_c, rh_pct=rh_pct)), spots=("face",))
    judged.advance(DAY)
    coat = committed(judged).coats[-1]
    assert coat.fit_at is None
    assert coat.gaps == ((START, START + 12 * HOUR_MS),)
    assert judged.ahead() == ()


def test_nothing_is_committed_beyond_the_settled_air() -> None:
    judged = judge(record(steady(START, 1)))
    judged.advance(DAY)
    assert committed(judged).at == START + HOUR_MS
    assert not judged.advance(DAY)


def test_fit_stays_fit_through_a_damp_night() -> None:
    air = record([*steady(START, 10), *steady(START + 10 * HOUR_MS + 5 * MINUTE_MS, 10, rh_pct=97.0)])
    judged = judge(air, spots=("face",))
    judged.advance(DAY)
    coat = committed(judged).coats[-1]
    assert coat.fit_at is not None
    assert coat.fit_at < START + 10 * HOUR_MS
    assert committed(judged).at >= START + 20 * HOUR_MS


def test_above_ninety_per_cent_nothing_comes_fit() -> None:
    judged = judge(record(steady(START, 24, rh_pct=92.0)), spots=("face",))
    judged.advance(DAY)
    assert committed(judged).coats[-1].fit_at is None


def test_a_dip_within_a_block_cuts_it() -> None:
    judged = judge(record(steady(START, 8)), hours=(0.0, 5.125), spots=("face",))
    judged.advance(DAY)
    coats = committed(judged).coats
    assert [coat.dip.number for coat in coats] == [1, 2]
    assert committed(judged).curves[0][0][0] == START + round(5.125 * HOUR_MS)
    assert coats[0].damp_at_next is not None


def test_a_dip_on_a_damp_coat_is_kept_with_what_was_left() -> None:
    judged = judge(record(steady(START, 8)), hours=(0.0, 0.5))
    judged.advance(DAY)
    first, _ = coat_verdicts(judged.tree, committed(judged).coats)
    assert first.fit_at.p50 is None
    assert first.damp_at_next is not None
    assert first.damp_at_next > 0.3
    assert "went on while" in first.warnings[0]
    assert first.slowest_spot == "joint:60"


def test_an_undone_dip_is_as_if_it_had_not_been() -> None:
    air = record(steady(START, 9))
    judged = judge(air, hours=(0.0, 7.0))
    judged.advance(DAY)
    judged.say_dips(judged.dips[:1])
    judged.advance(DAY)
    never = judge(air, hours=(0.0,))
    never.advance(DAY)
    assert bits(judged) == bits(never)
    judged.say_dips(())
    assert judged.state is None


def test_the_last_coat_rests_before_it_is_called_dry_through() -> None:
    judged = judge(record(steady(START, 60)), spots=("face",), coats=1)
    judged.advance(START + 60 * HOUR_MS)
    coat = committed(judged).coats[-1]
    assert coat.fit_at is not None
    assert coat.through_at is not None
    assert coat.through_at >= coat.fit_at + 23 * HOUR_MS
    assert coat.rested_ms >= 24 * HOUR_MS


def test_no_rest_is_counted_in_air_too_damp_to_call_anything_fit() -> None:
    night = START + 40 * HOUR_MS
    readings = [*steady(START, 40), *steady(night, 10, rh_pct=93.0), *steady(night + 10 * HOUR_MS, 5)]
    judged = judge(record(readings), hours=(0.05,), coats=1)
    # By so wide a limit the shell stays dry in the damp air, and only the air bars the rest.
    judged.tree = replace(judged.tree, dry_limit=0.05)
    judged.advance(night)
    before = committed(judged).coats[-1].rested_ms
    judged.advance(night + 10 * HOUR_MS)
    after = committed(judged).coats[-1].rested_ms
    assert before > 0
    # The hour in which the record goes over from the one air to the other is neither.
    assert after - before <= HOUR_MS


def test_a_stricter_limit_rests_later() -> None:
    times = []
    for limit in (0.005, 0.001):
        judged = judge(record(steady(START, 60)), hours=(0.05,), coats=1)
        judged.tree = replace(judged.tree, dry_limit=limit)
        judged.advance(START + 60 * HOUR_MS)
        times.append(committed(judged).coats[-1].rested_ms)
    assert times[1] < times[0]


def test_a_saved_state_of_other_dips_is_not_taken() -> None:
    judged = judge(record(steady(START, 2)), spots=("face",))
    judged.advance(DAY)
    others = dips_at((0.0,), ("prime",))
    assert state_key(judged.tree, judged.dips) != state_key(judged.tree, others)
    assert state_key(judged.tree, judged.dips) != state_key(tree(("face", "joint:30")), judged.dips)
    with pytest.raises(StaleStateError, match="cannot be read"):
        from_blob(b"\x00\x00\x00\x05{not}", judged.dips)
    with pytest.raises(StaleStateError):
        from_blob(bits(judged)[:40], judged.dips)
