"""What is due to be told beside the trees: by nodes, batteries, the air, calibrations."""

from dataclasses import replace

from scheduler.forecast import Notice
from sensors.calibration import Line
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from server.store import calibrations as calibration_store
from server.store import readings as reading_store
from server.telling import set_telling
from server.troubles import LOOK_APART_S, LOOK_EVERY_MS, Troubles, troubles
from server.verdicts import AirPoint, NodeFault
from tests.service.fake_shop import NOON, FakeShop


def due(shop: FakeShop, cause: str, now: Millis = NOON) -> list[Notice]:
    shop.clock.time = now
    return [notice for notice in troubles(shop.parts, now) if notice.cause == cause]


def say(shop: FakeShop, node: str, end: Millis, name: str = "humidity", unit: str = "%RH") -> None:
    said = [
        Reading("drying-room", node, name, unit, 50.0 + step / 10, end - (9 - step) * MINUTE_MS)
        for step in range(10)
    ]
    reading_store.keep(shop.engine, said, [], [], end)


def air(shop: FakeShop, temp_c: float | None, rh_pct: float | None, place: str = "drying-room") -> None:
    shop.rack.airs[place] = tuple(
        AirPoint(NOON - minutes * MINUTE_MS, temp_c, rh_pct) for minutes in (30, 20, 10)
    )


def test_a_silent_node_is_told_of_under_one_key_a_day(shop: FakeShop) -> None:
    say(shop, "wall", NOON - 20 * MINUTE_MS)
    (notice,) = due(shop, "silent")
    assert notice.title == "wall (Drying room): silent"
    assert notice.body == "wall says nothing any more: look at its power and its Wi-Fi."
    assert (notice.key, notice.brief) == ("silent:drying-room/wall:2026-03-02", "since 13:40")
    (later,) = due(shop, "silent", NOON + 30 * HOUR_MS)  # the same silence, the next evening
    assert later.key == notice.key
    say(shop, "wall", NOON + 3 * HOUR_MS)
    assert due(shop, "silent", NOON + 3 * HOUR_MS) == []
    (again,) = due(shop, "silent", NOON + 5 * HOUR_MS)  # it comes and goes: one word that day
    assert again.key == notice.key


def test_a_node_that_is_not_believed_is_told_of_with_what_follows(shop: FakeShop) -> None:
    fault = NodeFault("cellar", "north", "stuck", NOON - HOUR_MS, None, "has said exactly 19 °C", True)
    over = replace(fault, node="south", end=NOON - MINUTE_MS)
    shop.rack.faults = (fault, over)
    (notice,) = due(shop, "fault")
    assert notice.title == "north (Cellar): look at it"
    assert notice.body == "north has said exactly 19 °C. It is left out of the air meanwhile."
    shop.rack.faults = (replace(fault, kind="at odds", left_out=False),)
    (notice,) = due(shop, "fault")
    assert "left out" not in notice.body


def test_a_low_battery_is_told_of_once_a_week(shop: FakeShop) -> None:
    def low(now: Millis) -> list[Notice]:
        said = [Reading("drying-room", "wall", "battery", "%EL", 12.0, now - MINUTE_MS)]
        reading_store.keep(shop.engine, said, [], [], now)
        return due(shop, "battery", now)

    (monday,) = low(NOON)
    assert monday.title == "wall (Drying room): battery low"
    assert monday.body == "wall: its battery has 12 % left: change or charge it now."
    assert [notice.key for notice in low(NOON + 6 * DAY_MS)] == [monday.key]
    assert [notice.key for notice in low(NOON + 7 * DAY_MS)] != [monday.key]


def test_bad_air_is_told_where_coats_dry_in_it_for_half_an_hour(shop: FakeShop) -> None:
    """The limits of a backup coat: 20 to 70 %RH, 10 to 32 °C; a prime coat's: 40 to 75 %RH."""
    air(shop, 18.0, 82.0)
    assert due(shop, "air") == []  # nothing dries there
    shop.hang("Heron", "A1", 4, "drying", remaining=0.3)
    shop.hang("Teal", "A2", 5, "drying", remaining=0.3)
    shop.hang("Snipe", "A3", 4, "fit", remaining=0.04)
    (notice,) = due(shop, "air")
    assert notice.title == "Drying room: the air has gone bad"
    assert notice.body == "The air is at 82 %RH; a backup coat wants 20 to 70 %RH. Heron, Teal dry there."
    assert notice.key == "air:drying-room:2026-03-02"
    air(shop, 35.0, 50.0)
    assert "The air is at 35 °C; a backup coat wants 10 to 32 °C." in due(shop, "air")[0].body
    air(shop, 18.0, 50.0)
    assert due(shop, "air") == []
    air(shop, None, None)
    assert due(shop, "air") == []
    air(shop, 18.0, 82.0)
    shop.rack.airs["drying-room"] = (
        *shop.rack.airs["drying-room"][:2],
        AirPoint(NOON - MINUTE_MS, 18.0, 60.0),
    )
    assert due(shop, "air") == []  # a while of it is over already


def test_a_prime_coat_is_held_to_its_own_air(shop: FakeShop) -> None:
    shop.hang("Heron", "A1", 1, "drying", remaining=0.3)
    air(shop, 18.0, 33.0)
    (notice,) = due(shop, "air")
    assert notice.body == "The air is at 33 %RH; a prime coat wants 40 to 75 %RH. Heron dries there."


def test_calibration_is_due_a_year_after_the_last_or_after_the_first_word(shop: FakeShop) -> None:
    say(shop, "wall", NOON)
    year = NOON + 366 * DAY_MS
    say(shop, "wall", year)
    (notice,) = due(shop, "calibration", year)
    assert notice.title == "wall (Drying room): calibrate it"
    assert notice.body.startswith("wall has run for 366 days uncalibrated. The page Air has the steps")
    (same,) = due(shop, "calibration", year + DAY_MS)
    assert same.key == notice.key
    line = Line(1.0, 0.5, None, 40.0, 60.0)
    calibration_store.add_calibration(
        shop.engine, "drying-room", "wall", "humidity", "reference", line, [], year, year
    )
    assert due(shop, "calibration", year + 2 * DAY_MS) == []
    set_telling(shop.engine, calibration_days=30)
    say(shop, "wall", year + 31 * DAY_MS)
    (sooner,) = due(shop, "calibration", year + 31 * DAY_MS)
    assert sooner.body.startswith("wall was last calibrated 31 days ago.")
    assert due(shop, "calibration", year + 40 * DAY_MS) == []  # it was not heard for a week


def test_all_of_it_is_looked_at_now_and_then_only(shop: FakeShop) -> None:
    say(shop, "wall", NOON - 20 * MINUTE_MS)
    beat = 0.0
    found = Troubles(shop.parts, lambda: beat)
    assert [notice.cause for notice in found(NOON)] == ["silent"]
    say(shop, "wall", NOON)
    beat = 60.0
    assert [notice.cause for notice in found(NOON + LOOK_EVERY_MS - 1)] == ["silent"]  # not a minute since
    assert found(NOON + LOOK_EVERY_MS) == []
    say(shop, "porch", NOON - HOUR_MS)
    beat += LOOK_APART_S / 2
    assert found(NOON + HOUR_MS) == []  # in a fast shop no oftener than that of the wall
    beat += LOOK_APART_S
    shop.clock.time = NOON + 2 * MINUTE_MS
    assert [notice.cause for notice in found(NOON + HOUR_MS)] == ["silent"]
