"""The demo's clock: it stands until let go, runs at its rate, and a restart goes on from where it was."""

from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from server import shop_time
from server.store import readings
from server.store.engine import Engine
from tests.service.records import PLACE, START


class Wall:
    """A wall clock in the test's hands."""

    time: Millis = 1_000_000

    def __call__(self) -> Millis:
        return self.time


def test_it_stands_until_let_go_and_then_runs_at_its_rate(engine: Engine) -> None:
    wall = Wall()
    clock = shop_time.taken_up(engine, 300.0, START, wall)
    wall.time += 5_000
    assert clock.now() == START
    clock.go()
    wall.time += 2_000
    assert clock.now() == START + 10 * MINUTE_MS
    assert clock.rate == 300.0


def test_a_restart_goes_on_however_long_the_wall_went(engine: Engine) -> None:
    wall = Wall()
    clock = shop_time.taken_up(engine, 300.0, START, wall)
    clock.go()
    wall.time += 12_000
    clock.keep(engine)
    wall.time += 24 * HOUR_MS
    again = shop_time.taken_up(engine, 300.0, START, wall)
    assert again.now() == START + HOUR_MS


def test_shop_time_does_not_go_back_behind_a_reading_that_came(engine: Engine) -> None:
    wall = Wall()
    shop_time.taken_up(engine, 300.0, START, wall)
    late = START + 3 * HOUR_MS
    readings.keep(engine, [Reading(PLACE, "n1", "humidity", "%RH", 50.0, late)], [], [], late)
    assert shop_time.taken_up(engine, 300.0, START, wall).now() == late
