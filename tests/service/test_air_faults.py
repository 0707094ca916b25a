"""A node at fault: left out from the fault's start, live, after a restart and judged from nothing."""

from dataclasses import replace

import pytest

from sensors.air import Air, PlaceAir
from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.fault_beside import find_faults
from sensors.faults import Fault
from sensors.reading import Reading
from server.drying.drawing import drawn
from server.drying.materials import coat
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.judged_state import to_blob
from server.live import LiveRack
from server.store.engine import Engine
from tests.service.records import PLACE, START
from tests.service.test_live import Shop


def days(node: str, hours: float, shift: float = 0.0, wrong_from: float = 1e9) -> list[Reading]:
    """Air that goes up and down by the day; from `wrong_from` hours on the node says 30 %RH too little."""
    said = []
    for step in range(round(hours * 12)):
        time, at = START + step * 5 * MINUTE_MS, step / 12
        swing = abs((at % 24) / 12 - 1)
        rh = 70.0 - 15.0 * swing + shift - (30.0 if at >= wrong_from else 0.0)
        said.append(Reading(PLACE, node, "temperature", "Cel", 18.0 + 2 * swing + shift / 10, time))
        said.append(Reading(PLACE, node, "humidity", "%RH", round(rh, 3), time))
    return said


def three(hours: float, wrong_from: float) -> list[Reading]:
    return [*days("n1", hours, 0.5), *days("n2", hours, -0.5), *days("n3", hours, 0.0, wrong_from)]


def test_a_wrong_node_is_left_out_from_the_start_of_its_fault() -> None:
    air, good = PlaceAir(0.6), PlaceAir(0.6)
    air.add(three(12, 6.0))
    good.add([*days("n1", 12, 0.5), *days("n2", 12, -0.5)])
    [fault] = air.faults()
    assert (fault.node, fault.kind, fault.end) == ("n3", "disagreeing", None)
    assert abs(fault.start - (START + 6 * HOUR_MS)) <= HOUR_MS
    start = START + 7 * HOUR_MS
    assert air.mean(start, start + HOUR_MS) == good.mean(start, start + HOUR_MS)


def test_words_in_any_order_find_the_same_faults_and_say_from_when_on_the_air_changed() -> None:
    said = three(12, 6.0)
    whole = PlaceAir(0.6)
    whole.add(said)
    late = PlaceAir(0.6)
    late.add([one for one in said if one.node != "n2"])
    assert [fault.kind for fault in late.faults()] == ["at odds"]
    before = late.mean(START + 2 * HOUR_MS, START + 3 * HOUR_MS)
    changed = late.add([one for one in said if one.node == "n2"])
    assert changed is not None
    assert changed <= START
    assert late.faults() == whole.faults()
    assert late.mean(START + 2 * HOUR_MS, START + 3 * HOUR_MS) != before


def test_minute_by_minute_faults_are_looked_for_once_a_step_and_are_those_of_the_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looks = []

    def counted(*asked: object) -> list[Fault]:
        looks.append(asked)
        return find_faults(*asked)  # type: ignore[arg-type]

    monkeypatch.setattr("sensors.fault_watch.find_faults", counted)
    hours, said = 4, []
    for one in three(hours, 2.0):
        # A word each minute, at a second of its own for each node; n2's come seven minutes late.
        for minute in range(5):
            time = one.time + minute * MINUTE_MS + 7000 * int(one.node[1])
            said.append((time + (7 * MINUTE_MS if one.node == "n2" else 0), one._replace(time=time)))
    on_time = PlaceAir(0.6)
    for _, reading in sorted((one for one in said if one[1].node != "n2"), key=lambda one: one[0]):
        on_time.add([reading])
    # Once a step, and not at each of the 960 words.
    assert len(looks) <= hours * 12 + 1
    late, whole = PlaceAir(0.6), PlaceAir(0.6)
    for _, reading in sorted(said, key=lambda one: one[0]):
        late.add([reading])
    whole.add([reading for _, reading in said])
    assert late.faults() == whole.faults()
    assert [(fault.node, fault.kind) for fault in whole.faults()] == [("n3", "disagreeing")]
    for hour in range(hours - 1):
        start = START + hour * HOUR_MS + MINUTE_MS
        assert late.mean(start, start + HOUR_MS) == whole.mean(start, start + HOUR_MS)


def test_hindsight_says_from_when_the_air_is_another(engine: Engine) -> None:
    air = PlaceAir(0.6)
    air.add(three(6, 1e9))
    told: list[Millis] = []
    for reading in sorted(three(12, 6.0), key=lambda one: one.time):
        if reading.time >= START + 6 * HOUR_MS and (changed := air.add([reading])) is not None:
            told.append(reading.time - changed)
    # Most words change the air from the one before on; the one that settles it reaches back to the start.
    assert sorted(told)[len(told) // 2] <= 10 * MINUTE_MS
    assert 30 * MINUTE_MS <= max(told) <= 2 * HOUR_MS


def judged(rack: LiveRack, shop: Shop) -> tuple[object, bytes]:
    """The verdict on the tree, and its state to the bit."""
    state = rack._followed[shop.tree.id].judge.state
    assert state is not None
    return rack.outlooks(), to_blob(state)


@pytest.mark.parametrize("members", [1, 4])
def test_live_restarted_and_judged_from_nothing_say_the_same(engine: Engine, members: int) -> None:
    shop = Shop(engine, members)
    shop.dip(4.0)
    rack = shop.rack()
    said = sorted(three(14, 6.0), key=lambda one: one.time)
    for hour in range(14):
        shop.say([one for one in said if 0 <= one.time - START - hour * HOUR_MS < HOUR_MS], rack)
        shop.at(hour + 1)
        rack.look()
    live = judged(rack, shop)
    assert judged(shop.rack(), shop) == live
    with engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM saved_state")
    assert judged(shop.rack(), shop) == live


def test_two_at_odds_both_count_and_are_less_sure() -> None:
    air = PlaceAir(0.6)
    air.add([*days("n1", 12, 0.0), *days("n3", 12, 0.0, 6.0)])
    agreeing, apart = (air.mean(START + hour * HOUR_MS, START + (hour + 1) * HOUR_MS) for hour in (3, 9))
    assert agreeing is not None
    assert apart is not None
    assert (agreeing.temp_wide, agreeing.rh_wide) == (1.0, 1.0)
    # 30 %RH apart against two errors of 3: the square root of 6² + 30² over 6.
    assert apart.rh_wide == pytest.approx((6.0**2 + 30.0**2) ** 0.5 / 6.0, abs=1e-6)
    assert apart.temp_wide == 1.0


def test_the_less_sure_the_air_the_further_apart_the_members() -> None:
    ensemble = drawn(8)
    shell = SpotShell.bare(parse_spot("face"), 25.0, members=ensemble.members).dip(coat("backup"))
    air = Air(20.0, 60.0, 0.6)
    spreads = []
    for wide in (1.0, 4.0):
        left = shell.advance(replace(air, rh_wide=wide), 3600.0).remaining()
        alone = shell.advance(replace(air, rh_pct=60.0), 3600.0).remaining()
        spreads.append(float(abs(left - alone).max()))
    assert spreads[0] == 0.0
    assert spreads[1] > 0.01
