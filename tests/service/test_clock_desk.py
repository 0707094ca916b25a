"""A node whose clock is wrong is left out of its place's air from then on, and comes back by itself."""

import asyncio
from pathlib import Path

import pytest

from sensors.clock import HOUR_MS, MINUTE_MS, SetClock
from sensors.reading import Reading
from server.air_records import AirRecords
from server.app import Service
from server.clock_desk import ClockDesk
from server.node_health import node_health
from server.settings import Settings
from server.store import places
from server.store import readings as reading_store
from server.store.engine import Engine, open_store
from server.store.values import Place
from server.store.wrong_clocks import WrongClock, wrong_clocks
from tests.service.fake_shop import NOON, Browser, FakeShop

BEHIND = 60 * MINUTE_MS


def say(engine: Engine, node: str, start: int, end: int, late: int = 0, temp_c: float = 18.0) -> None:
    """Words a minute apart that come at `start` up to `end`, from a clock that is so far behind [ms]."""
    for came in range(start, end, MINUTE_MS):
        said = [
            Reading("drying-room", node, name, unit, value, came - late)
            for name, unit, value in (("temperature", "Cel", temp_c), ("humidity", "%RH", 55.0))
        ]
        reading_store.keep(engine, said, [], [], came)


def faults(shop: FakeShop) -> list[tuple[str, int, int | None, bool]]:
    return [(one.node, one.start, one.end, one.left_out) for one in node_health(shop.parts)]


def test_it_is_left_out_from_the_faults_start_and_comes_back_by_itself(shop: FakeShop, web: Browser) -> None:
    begun = NOON - 6 * MINUTE_MS
    say(shop.engine, "north", NOON - HOUR_MS, NOON)
    say(shop.engine, "south", begun, NOON, late=BEHIND, temp_c=25.0)
    desk = ClockDesk(shop.parts)
    desk.look(NOON)
    wrong = WrongClock("drying-room", "south", begun - BEHIND, None)
    assert wrong_clocks(shop.engine) == [wrong]
    assert shop.rack.calibrated_places == ["drying-room"]
    assert faults(shop) == [("south", wrong.since, None, True)]
    page = web.get("/air").text
    assert (
        "Left out since 12:54: its clock is about 1 h behind: what it says would be taken for older" in page
    )
    record = AirRecords(shop.engine)
    record.load(NOON - 3 * HOUR_MS, NOON + HOUR_MS, NOON)
    air = record.of("drying-room").mean(NOON - 50 * MINUTE_MS, NOON - 10 * MINUTE_MS)
    assert air is not None
    assert round(air.temp_c, 6) == 18.0

    desk.look(NOON + MINUTE_MS)  # nothing new
    assert shop.rack.calibrated_places == ["drying-room"]
    shop.clock.advance(10 * MINUTE_MS)
    say(shop.engine, "north", NOON, NOON + 10 * MINUTE_MS)
    say(shop.engine, "south", NOON + 2 * MINUTE_MS, NOON + 10 * MINUTE_MS, temp_c=25.0)
    desk.look(NOON + 10 * MINUTE_MS)
    [ended] = wrong_clocks(shop.engine)
    assert ended.until == NOON + 5 * MINUTE_MS  # the first of its last five words
    assert shop.rack.calibrated_places == ["drying-room"] * 2
    assert faults(shop) == [("south", wrong.since, ended.until, True)]


def test_the_only_node_of_a_place_counts_whatever_its_clock(shop: FakeShop) -> None:
    say(shop.engine, "south", NOON - 8 * MINUTE_MS, NOON, late=BEHIND)
    ClockDesk(shop.parts).look(NOON)
    assert wrong_clocks(shop.engine) == []
    assert [(node, left_out) for node, _, _, left_out in faults(shop)] == [("south", False)]


def test_it_counts_again_when_the_others_fall_silent(shop: FakeShop) -> None:
    say(shop.engine, "north", NOON - HOUR_MS, NOON)
    say(shop.engine, "south", NOON - 8 * MINUTE_MS, NOON, late=BEHIND)
    desk = ClockDesk(shop.parts)
    desk.look(NOON)
    assert [one.until for one in wrong_clocks(shop.engine)] == [None]
    later = NOON + HOUR_MS
    shop.clock.advance(HOUR_MS)
    say(shop.engine, "south", NOON, later, late=BEHIND)
    desk.look(later)
    [ended] = wrong_clocks(shop.engine)
    assert ended.until == later - 8 * MINUTE_MS - BEHIND


def test_readings_kept_while_the_network_was_away_are_no_wrong_clock(shop: FakeShop) -> None:
    """An hour of them comes within seconds, each as late as it is old."""
    say(shop.engine, "north", NOON - HOUR_MS, NOON)
    for step in range(60):
        time = NOON - HOUR_MS + step * MINUTE_MS
        said = [
            Reading("drying-room", "south", name, unit, 18.0, time)
            for name, unit in (("temperature", "Cel"), ("humidity", "%RH"))
        ]
        reading_store.keep(shop.engine, said, [], [], NOON + 100 * step)
    ClockDesk(shop.parts).look(NOON)
    assert wrong_clocks(shop.engine) == []


def test_the_service_looks_by_itself(tmp_path: Path) -> None:
    engine = open_store(f"sqlite:///{tmp_path / 'slowcorner.db'}")
    places.add_place(engine, Place("drying-room", "Drying room", 0.6))
    say(engine, "north", NOON - 2 * HOUR_MS, NOON)
    say(engine, "south", NOON - 6 * MINUTE_MS, NOON, late=BEHIND, temp_c=25.0)

    async def main() -> float:
        settings = Settings(data=tmp_path, port=0, mqtt="listen://127.0.0.1:0")
        service = Service(settings, engine, SetClock(NOON))
        async with service.running():
            await service._tick(NOON, True)
            points = await asyncio.to_thread(
                service.rack.air, "drying-room", NOON - HOUR_MS, NOON - 30 * MINUTE_MS
            )
        return max(point.temp_c for point in points if point.temp_c is not None)

    assert asyncio.run(main()) == pytest.approx(18.0)
    engine.dispose()
