"""The forecast of the air in the live rack: it goes into what is expected, never into what was judged."""

import math
from collections.abc import Iterator

import numpy as np
import pytest

from sensors.clock import HOUR_MS, MINUTE_MS
from sensors.reading import Reading
from server.air_ahead import hourly_means
from server.drying.shell import SpotShell
from server.live import LiveRack
from server.store import plans, readings
from server.store.engine import Engine
from tests.service.records import PLACE, START
from tests.service.test_live import Shop, only

DAYS = 4


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine)
    yield shop
    for rack in shop.racks:
        rack.close()


def daily() -> list[Reading]:
    """Four days of air before the start, damp and cool by night, dry and warm by day, and six hours on."""
    said = []
    for minute in range(-DAYS * 24 * 60, 6 * 60 + 1, 10):
        wave = math.sin(2.0 * math.pi * minute / (24 * 60))
        time = START + minute * MINUTE_MS
        said.append(Reading(PLACE, "n1", "temperature", "Cel", 20.0 + 3.0 * wave, time))
        said.append(Reading(PLACE, "n1", "humidity", "%RH", 55.0 - 25.0 * wave, time))
    return said


def shells(rack: LiveRack) -> list[bytes]:
    (followed,) = rack._followed.values()
    state = followed.judge.state
    assert state is not None
    return [SpotShell.to_bytes(shell) for shell in state.shells]


def test_the_coming_night_is_in_the_forecast_and_the_caster_s_word_too(shop: Shop) -> None:
    readings.keep(shop.engine, daily(), [], [], shop.arrived)
    shop.dip(5.75)
    shop.at(6.0)
    rack = shop.rack()
    first = only(rack)
    coming = rack.coming(PLACE)
    assert coming is not None
    # Air that went on as it is at noon, 23 °C and 30 %RH, would stay dry; a day has 55 %RH on the whole.
    assert coming[0].air.rh_pct == pytest.approx(55.0, abs=5.0)
    judged = shells(rack)
    plans.add_word(
        shop.engine, "", "damp", 95.0, shop.clock.now(), shop.clock.now() + 12 * HOUR_MS, shop.clock.now()
    )
    rack.air_said()
    rack.look()
    after = only(rack)
    assert first.fit_at.p50 is not None
    assert after.fit_at.p50 is not None
    assert after.fit_at.p50 > first.fit_at.p50 + 2 * HOUR_MS
    assert shells(rack) == judged


def test_a_rack_just_started_foretells_from_a_month_though_it_reads_a_part_of_it(shop: Shop) -> None:
    """Three warm weeks, then a cold one: what is read anew alone would not know how long it was warm."""

    def month() -> Iterator[Reading]:
        for minute in range(-30 * 24 * 60, 6 * 60 + 1, 10):
            wave = math.sin(2.0 * math.pi * minute / (24 * 60))
            level = 26.0 if minute < -8 * 24 * 60 else 15.0
            time = START + minute * MINUTE_MS
            yield Reading(PLACE, "n1", "temperature", "Cel", level + 3.0 * wave, time)
            yield Reading(PLACE, "n1", "humidity", "%RH", 55.0 - 10.0 * wave, time)

    readings.keep(shop.engine, list(month()), [], [], shop.arrived)
    shop.dip(5.75)
    shop.at(6.0)
    rack = shop.rack()
    hour = START + 6 * HOUR_MS
    air = rack._airs.of(PLACE)
    known_from = air.known_from()
    assert known_from is not None
    assert known_from > hour - 20 * 24 * HOUR_MS  # the rack itself reads no more anew
    temp_c, _ = hourly_means(air, hour, dict(rack._foreseeing.air._means[PLACE]))
    assert np.isfinite(temp_c).all()
    assert temp_c[:24].mean() == pytest.approx(26.0, abs=0.1)
    assert temp_c[-24:].mean() == pytest.approx(15.0, abs=0.1)


def test_means_of_hours_are_those_of_the_readings(shop: Shop) -> None:
    said = daily()
    readings.keep(shop.engine, said, [], [], shop.arrived)
    hour = START - 5 * HOUR_MS
    of_hour = [one.value for one in said if one.name == "humidity" and hour <= one.time < hour + HOUR_MS]
    found = readings.hourly_readings(shop.engine, PLACE, hour, hour + HOUR_MS)
    assert [(one.name, one.time) for one in found] == [
        ("humidity", hour + HOUR_MS // 2),
        ("temperature", hour + HOUR_MS // 2),
    ]
    assert found[0].value == pytest.approx(sum(of_hour) / len(of_hour))
