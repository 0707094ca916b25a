"""Simulated nodes: what they say, in which order, and that nothing is lost when the listener goes."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass

import pytest

from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Millis, SetClock
from sensors.reading import Reading
from sensors.senml import parse
from sensors.shop_air import Room, ShopAir, fortnight
from sensors.simulated import LONGEST_PACK, Diary, SimulatedNode, SimulatedShop, demo_nodes
from sensors.simulated_link import IN_FLIGHT
from tests.air.broker import Broker, Heard, Joined

NOW = 1_791_806_400_000  # 2026-10-12T12:00:00Z


@dataclass(frozen=True)
class Still:
    """Air that stands."""

    temp_c: float = 18.0
    rh_pct: float = 55.0

    def at(self, time: Millis) -> tuple[float, float]:
        return self.temp_c, self.rh_pct


WALL = SimulatedNode("cellar", "wall", Still())


def said(heard: Sequence[Heard], arrived: Millis) -> list[Reading]:
    readings: list[Reading] = []
    for one in heard:
        _, place, node, _ = one.topic.split("/")
        parsed = parse(one.payload, place, node, arrived, one.topic)
        assert parsed.rejected == ()
        readings += parsed.readings
    return readings


def times(readings: Sequence[Reading], name: str = "temperature") -> list[Millis]:
    return [reading.time for reading in readings if reading.name == name]


def test_pack_says_what_the_node_reads() -> None:
    moments = [NOW, NOW + 2 * MINUTE_MS, NOW + 4 * MINUTE_MS]
    parsed = parse(WALL.pack(moments), "cellar", "wall", NOW + 5 * MINUTE_MS, "here")
    assert parsed.rejected == ()
    assert [(r.name, r.unit, r.value, r.time) for r in parsed.readings] == [
        (name, unit, WALL.values(moment)[column], moment)
        for moment in moments
        for column, (name, unit) in enumerate((("temperature", "Cel"), ("humidity", "%RH")))
    ]


def test_errors_are_a_data_sheets_and_the_nodes_own() -> None:
    # Source: common practice, the ±0.2 K and ±2 %RH of good cheap sensors; noise (5 sigma) beside.
    offsets = []
    for seed in range(40):
        node = SimulatedNode("cellar", "wall", Still(), seed)
        read = [node.values(NOW + k * MINUTE_MS) for k in range(50)]
        assert all(abs(temp - 18.0) <= 0.2 + 0.15 for temp, _ in read)
        assert all(abs(rh - 55.0) <= 2.0 + 0.75 for _, rh in read)
        assert len(set(read)) > 10
        offsets.append(sum(temp for temp, _ in read) / len(read) - 18.0)
    assert min(offsets) < -0.1
    assert max(offsets) > 0.1
    again = SimulatedNode("cellar", "wall", Still(), 3)
    assert again.values(NOW) == SimulatedNode("cellar", "wall", Still(), 3).values(NOW)


def test_damp_and_dry_air_stay_within_what_humidity_can_be() -> None:
    for rh in (0.0, 100.0):
        node = SimulatedNode("cellar", "wall", Still(5.0, rh))
        assert all(0.0 <= node.values(NOW + k)[1] <= 100.0 for k in range(100))


def test_diary_tells_the_past_then_the_present() -> None:
    diary = Diary(NOW - 5 * HOUR_MS, NOW + MINUTE_MS, rate=1.0)
    first, second = diary.take(NOW + MINUTE_MS), diary.take(NOW + MINUTE_MS)
    assert len(first) == LONGEST_PACK
    assert first + second == list(range(NOW - 5 * HOUR_MS, NOW, 5 * MINUTE_MS))
    assert diary.past_is_told
    assert diary.take(NOW + MINUTE_MS) == [NOW]
    assert diary.take(NOW + MINUTE_MS) == []
    assert diary.take(NOW + 6 * MINUTE_MS) == [NOW + k * MINUTE_MS for k in (2, 4, 6)]


def test_diary_goes_from_one_step_to_the_other_without_a_hole() -> None:
    diary = Diary(NOW - 10 * MINUTE_MS, NOW + 3 * MINUTE_MS, rate=1.0)
    past, live = diary.take(NOW + 3 * MINUTE_MS), diary.take(NOW + 7 * MINUTE_MS)
    assert past == [NOW + k * MINUTE_MS for k in (-10, -5, 0)]
    assert live == [NOW + k * MINUTE_MS for k in (2, 4, 6)]


def test_diary_groups_at_a_fast_clock() -> None:
    diary = Diary(None, NOW, rate=3000.0)  # 0.4 s are 20 minutes
    assert diary.take(NOW + 10 * MINUTE_MS) == []
    assert diary.take(NOW + 18 * MINUTE_MS) == [NOW + k * MINUTE_MS for k in range(0, 20, 2)]


def test_diary_forgets_what_is_older_than_a_week_but_not_the_past_it_was_asked_for() -> None:
    diary = Diary(None, NOW, rate=1.0)
    assert diary.take(NOW + 30 * DAY_MS)[0] == NOW + 23 * DAY_MS
    assert Diary(NOW - 10 * DAY_MS, NOW, rate=1.0).take(NOW)[0] == NOW - 10 * DAY_MS


def test_two_starts_speak_of_the_same_moments() -> None:
    one, other = Diary(NOW - 3 * HOUR_MS + 17, NOW, 1.0), Diary(NOW - 3 * HOUR_MS - 99, NOW, 1.0)
    assert set(one.take(NOW)) <= set(other.take(NOW))


def test_past_comes_in_order_and_few_are_in_flight() -> None:
    clock = SetClock(NOW)
    with Broker(acknowledges=False) as broker:
        shop = SimulatedShop([WALL], "127.0.0.1", broker.port, clock, since=NOW - 2 * DAY_MS)
        shop.start()
        try:
            broker.wait(lambda: len(broker.readings()) == IN_FLIGHT)
            assert not shop.wait_for_past(0.2)
            assert len(broker.readings()) == IN_FLIGHT
            broker.acknowledge()
            assert shop.wait_for_past(20.0)
        finally:
            shop.stop()
        readings = said(broker.readings(), NOW)
        assert times(readings) == [*range(NOW - 2 * DAY_MS, NOW, 5 * MINUTE_MS), NOW]
        assert times(readings, "humidity") == times(readings)
        assert all(one.qos == 1 and not one.retain for one in broker.readings())


def test_goes_on_live_by_the_clock_and_says_when_it_comes_and_goes() -> None:
    clock = SetClock(NOW)
    with Broker() as broker:
        shop = SimulatedShop([WALL], "127.0.0.1", broker.port, clock)
        shop.start()
        try:
            broker.wait(lambda: len(broker.readings()) == 1)
            clock.advance(2 * MINUTE_MS)
            broker.wait(lambda: len(broker.readings()) == 2)
            clock.advance(7 * MINUTE_MS)
            broker.wait(lambda: len(broker.readings()) == 3)
        finally:
            shop.stop()
        assert times(said(broker.readings(), clock.now())) == [NOW + k * MINUTE_MS for k in (0, 2, 4, 6, 8)]
        assert broker.joined == [
            Joined("slowcorner-cellar-wall", "slowcorner/cellar/wall/status", b"offline")
        ]
        status = [one for one in broker.heard if one.topic == "slowcorner/cellar/wall/status"]
        assert [(one.payload, one.retain, one.qos) for one in status] == [
            (b"online", True, 1),
            (b"offline", True, 1),
        ]
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("node ")]


def test_what_was_not_acknowledged_comes_again_after_a_cut() -> None:
    clock = SetClock(NOW)
    with Broker(acknowledges=False) as broker:
        shop = SimulatedShop([WALL], "127.0.0.1", broker.port, clock, since=NOW - 2 * DAY_MS)
        shop.start()
        try:
            broker.wait(lambda: len(broker.readings()) == IN_FLIGHT)
            broker.drop()
            broker.wait(lambda: len(broker.readings()) == 2 * IN_FLIGHT)
            broker.acknowledge()
            assert shop.wait_for_past(20.0)
        finally:
            shop.stop()
        first, again = broker.readings()[:IN_FLIGHT], broker.readings()[IN_FLIGHT:]
        assert [one.payload for one in again[:IN_FLIGHT]] == [one.payload for one in first]
        assert times(said(again, NOW)) == [*range(NOW - 2 * DAY_MS, NOW, 5 * MINUTE_MS), NOW]
        assert len(broker.joined) == 2


def test_waits_for_a_listener_that_comes_later_and_returns_to_one_that_restarts() -> None:
    clock = SetClock(NOW)
    with Broker() as broker:
        port = broker.port
    shop = SimulatedShop([WALL], "127.0.0.1", port, clock)
    shop.start()
    try:
        assert not shop.wait_for_past(0.3)  # nobody listens there
        with Broker(port) as broker:
            broker.wait(lambda: len(broker.readings()) == 1)
            assert shop.wait_for_past(20.0)
        clock.advance(10 * MINUTE_MS)
        with Broker(port) as broker:
            broker.wait(lambda: times(said(broker.readings(), clock.now()))[-1:] == [NOW + 10 * MINUTE_MS])
            assert times(said(broker.readings(), clock.now()))[0] == NOW + 2 * MINUTE_MS
    finally:
        shop.stop()


def test_stops_where_nobody_ever_listened() -> None:
    with Broker() as broker:
        port = broker.port
    shop = SimulatedShop([WALL], "127.0.0.1", port, SetClock(NOW))
    shop.start()
    shop.stop()
    SimulatedShop([WALL], "127.0.0.1", port, SetClock(NOW)).stop()  # never started


def test_demo_has_two_places_with_air_of_their_own() -> None:
    midnight = NOW - 12 * HOUR_MS
    nodes = demo_nodes(midnight)
    assert [(node.place, node.node) for node in nodes] == [
        ("drying-room", "rack-north"),
        ("drying-room", "rack-south"),
        ("cellar", "wall"),
    ]
    north, south, wall = (node.values(NOW) for node in nodes)
    assert north[0] == pytest.approx(south[0], abs=0.7)
    assert north[0] - wall[0] > 3.0
    assert wall[1] > north[1]
    assert nodes[0].values(NOW + 336 * HOUR_MS)[0] == pytest.approx(north[0], abs=0.3)
    room = ShopAir(fortnight(), Room(), midnight)
    for hour in range(0, 336, 11):
        time = midnight + hour * HOUR_MS + 7 * SECOND_MS
        assert nodes[0].values(time)[0] == pytest.approx(room.at(time)[0], abs=0.35)


def test_switched_off_nobody_waits_for_the_past_any_longer() -> None:
    """Else a service told to stop while its nodes still tell the past would wait until they gave up."""
    with Broker() as broker:
        port = broker.port
    shop, found = SimulatedShop([WALL], "127.0.0.1", port, SetClock(NOW)), []
    shop.start()
    waiting = threading.Thread(target=lambda: found.append(shop.wait_for_past(600.0)))
    waiting.start()
    shop.stop()
    waiting.join(20.0)
    assert found == [False]
