"""What a calibration does to verdicts: live, after a restart and from nothing they are the same."""

from collections.abc import Iterator

import pytest

from sensors.calibration import Line, Point, fit_line
from sensors.clock import HOUR_MS
from server.live import LiveRack
from server.store import calibrations as store
from server.store import saved
from server.store.engine import Engine
from tests.service.records import PLACE, START
from tests.service.test_live import Shop, between, only


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine)
    yield shop
    for rack in shop.racks:
        rack.close()


def calibrate(shop: Shop, line: Line, hours: float) -> int:
    at = START + round(hours * HOUR_MS)
    point = store.KeptPoint(50.0, 50.0 + line.shift, 1.0, at)
    kept = store.add_calibration(
        shop.engine, PLACE, "n1", "humidity", "reference", line, [point], at, shop.clock.now()
    )
    return kept.id


def told(rack: LiveRack, shop: Shop) -> object:
    return only(rack), rack.tree(shop.tree.id)


def test_verdicts_follow_a_calibration_and_its_undo(shop: Shop) -> None:
    rack = shop.rack()
    shop.dip(0.25)
    shop.say(between(0, 6), rack)
    shop.at(6)
    rack.refresh(shop.tree.id)
    plain = only(rack)
    # The node says 15 %RH too little: the air was damper, and the coat is behind what was said of it.
    line = fit_line("humidity", [Point(50.0, 64.0, 1.0)])
    number = calibrate(shop, line, 1.0)
    rack.calibrated(PLACE)
    rack.look()
    corrected = told(rack, shop)
    assert plain.fit_at.p50 is not None
    now = only(rack)
    assert now.fit_at.p50 is None or now.fit_at.p50 > plain.fit_at.p50
    assert told(shop.rack(), shop) == corrected
    saved.forget_states(shop.engine, shop.tree.id, 0)
    assert told(shop.rack(), shop) == corrected
    store.undo_calibration(shop.engine, PLACE, "n1", number, shop.clock.now())
    rack.calibrated(PLACE)
    rack.look()
    assert only(rack) == plain


def test_a_service_that_dies_before_it_judged_by_a_calibration_does_so_at_its_start(shop: Shop) -> None:
    rack = shop.rack()
    shop.dip(0.25)
    shop.say(between(0, 6), rack)
    shop.at(6)
    rack.refresh(shop.tree.id)
    before = told(rack, shop)
    calibrate(shop, fit_line("humidity", [Point(50.0, 64.0, 1.0)]), 1.0)
    # Never told of it, as one that was killed between the two.
    after = told(shop.rack(), shop)
    assert after != before
    rack.calibrated(PLACE)
    rack.look()
    assert told(rack, shop) == after


def test_readings_that_come_later_are_corrected_too(shop: Shop) -> None:
    rack = shop.rack()
    shop.dip(0.25)
    shop.say(between(0, 3), rack)
    shop.at(3)
    rack.look()
    calibrate(shop, fit_line("humidity", [Point(50.0, 60.0, 1.0)]), 2.0)
    rack.calibrated(PLACE)
    shop.say(between(3, 3), rack)
    shop.at(6)
    rack.look()
    humidities = [point.rh_pct for point in rack.air(PLACE, START + HOUR_MS, START + 5 * HOUR_MS)]
    assert humidities[:5] == pytest.approx([50.0] * 5, abs=0.01)
    assert humidities[7:] == pytest.approx([60.0] * (len(humidities) - 7), abs=0.01)


def test_a_node_in_a_jar_does_not_tell_the_air(shop: Shop) -> None:
    rack = shop.rack()
    shop.say([*between(0, 6), *between(0, 6, 60.0, "n2")], rack)
    shop.at(6)
    rack.look()
    store.begin_jar(shop.engine, PLACE, "n1", "NaCl", START + HOUR_MS)
    rack.calibrated(PLACE)
    humidities = [point.rh_pct for point in rack.air(PLACE, START + 2 * HOUR_MS, START + 5 * HOUR_MS)]
    assert humidities == pytest.approx([60.0] * 18, abs=0.01)
