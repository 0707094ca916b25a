"""The shop's air against closed forms of its balances, and the weather against what weather can be."""

import csv
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import sensors.shop_air
from sensors.clock import HOUR_MS, MINUTE_MS
from sensors.humid_air import dew_point_c, humidity_ratio, relative_humidity_pct, vapour_pressure_pa
from sensors.shop_air import (
    AIR_DENSITY_KG_M3,
    AIR_HEAT_J_KGK,
    Room,
    RoomAir,
    ShopAir,
    Weather,
    fortnight,
    saturated_ratio,
    step,
)

MIDNIGHT = 1_791_763_200_000  # 2026-10-12T00:00:00Z


def run(room: Room, air: RoomAir, temp_c: float, ratio: float, hours: float) -> RoomAir:
    for _ in range(round(hours * 6)):
        air = step(room, air, temp_c, ratio, room.by_day_c, 600.0)
    return air


def test_rest_is_the_closed_form() -> None:
    # Source: computed, the balances set to nought by hand.
    room = Room(heater_w=0.0, ground_w_k=40.0, ground_c=11.0)
    air = run(room, RoomAir(25.0, 0.012), 6.0, 0.004, 24 * 7)
    flow_kg_s = 1.2 * 60.0 * 0.7 / 3600.0
    through = flow_kg_s * 1006.0
    assert air.ratio == pytest.approx(0.004 + 0.04 / 3600.0 / flow_kg_s, rel=1e-9)
    assert air.temp_c == pytest.approx(
        ((through + 90.0) * 6.0 + 40.0 * 11.0 + 250.0) / (through + 90.0 + 40.0), rel=1e-9
    )


def test_heater_holds_its_set_point_with_the_power_the_losses_ask() -> None:
    # Source: computed; at rest the heater makes up for what is lost less the other heat.
    room = Room()
    air = run(room, RoomAir(10.0, 0.004), 6.0, 0.004, 48)
    assert air.temp_c == pytest.approx(19.0, abs=1e-9)
    lost = (1.2 * 60.0 * 0.7 / 3600.0 * 1006.0 + 90.0) * 13.0
    assert air.heater_w == pytest.approx(lost - 250.0, rel=1e-6)


def test_small_heater_does_what_it_can() -> None:
    room = Room(heater_w=300.0)
    air = run(room, RoomAir(10.0, 0.004), -5.0, 0.002, 48)
    assert air.heater_w == 300.0
    assert air.temp_c < 19.0


def test_set_point_follows_the_hours_of_work() -> None:
    room = Room()
    assert [room.set_point_c(hour) for hour in (6.9, 7.0, 17.9, 18.0, 31.0)] == [14.0, 19.0, 19.0, 14.0, 19.0]


rooms = st.builds(
    Room,
    volume_m3=st.floats(20.0, 500.0),
    air_changes_h=st.floats(0.1, 20.0),
    loss_w_k=st.floats(5.0, 500.0),
    water_kg_h=st.floats(0.0, 3.0),
    heater_w=st.floats(0.0, 10_000.0),
)


@given(rooms, st.floats(0.0, 30.0), st.floats(10.0, 100.0), st.floats(-10.0, 35.0), st.floats(5.0, 100.0))
def test_water_is_neither_made_nor_lost(
    room: Room, temp_c: float, rh_pct: float, out_c: float, out_rh_pct: float
) -> None:
    # Source: computed; what came in and was given off went out, condensed or is there. What went out is the
    # integral of the exponential by which the ratio goes to its rest, written out here again.
    before = RoomAir(temp_c, float(humidity_ratio(temp_c, rh_pct)))
    out = float(humidity_ratio(out_c, out_rh_pct))
    after = step(room, before, out_c, out, 19.0, 600.0)
    dry_air = AIR_DENSITY_KG_M3 * room.volume_m3
    changes = room.air_changes_h / 6.0  # in the 600 s
    given_off = room.water_kg_h / 6.0
    rest = out + given_off / (dry_air * changes)
    mean = rest + (before.ratio - rest) * (1.0 - math.exp(-changes)) / changes
    left = dry_air * (after.ratio - before.ratio)
    assert left + after.condensed_kg == pytest.approx(
        given_off + dry_air * changes * (out - mean), rel=1e-9, abs=1e-9
    )
    assert 0.0 <= after.ratio <= saturated_ratio(after.temp_c)


@given(rooms, st.floats(0.0, 30.0), st.floats(-10.0, 35.0))
def test_heat_is_neither_made_nor_lost(room: Room, temp_c: float, out_c: float) -> None:
    # Source: computed, as for water: heat stored = heat given − heat lost at the step's mean temperature.
    after = step(room, RoomAir(temp_c, 0.001), out_c, 0.001, 19.0, 600.0)
    heat = AIR_DENSITY_KG_M3 * room.volume_m3 * AIR_HEAT_J_KGK
    loss = heat * room.air_changes_h / 3600.0 + room.loss_w_k
    rest = out_c + (after.heater_w + room.other_heat_w) / loss
    decay = loss * 600.0 / (room.stored_heat * heat)
    mean = rest + (temp_c - rest) * (1.0 - math.exp(-decay)) / decay
    stored = room.stored_heat * heat * (after.temp_c - temp_c)
    assert stored == pytest.approx(
        600.0 * (after.heater_w + room.other_heat_w + loss * (out_c - mean)), rel=1e-7, abs=1.0
    )


@given(rooms, st.floats(0.0, 30.0), st.floats(-10.0, 35.0))
def test_two_short_steps_are_one_long_one(room: Room, temp_c: float, out_c: float) -> None:
    # Exact in time: with the heater off the step's length does not matter.
    cold = Room(room.volume_m3, room.air_changes_h, room.loss_w_k, heater_w=0.0, water_kg_h=0.0)
    start = RoomAir(temp_c, 0.0005)
    long = step(cold, start, out_c, 0.0004, 19.0, 1200.0)
    short = step(cold, step(cold, start, out_c, 0.0004, 19.0, 600.0), out_c, 0.0004, 19.0, 600.0)
    assert short.temp_c == pytest.approx(long.temp_c, abs=1e-9)
    assert short.ratio == pytest.approx(long.ratio, rel=1e-9)


def test_open_unheated_room_follows_the_outdoors() -> None:
    weather = fortnight()
    barn = Room(air_changes_h=60.0, heater_w=0.0, other_heat_w=0.0, water_kg_h=0.0, stored_heat=1.0)
    air = ShopAir(weather, barn, MIDNIGHT)
    for hour in range(0, 336, 7):
        temp_c, rh_pct = air.at(MIDNIGHT + hour * HOUR_MS)
        # An hour's change of air takes a minute; the steps are of ten, so that a few minutes' lag is left.
        assert temp_c == pytest.approx(weather.temp_c[hour], abs=0.9)
        inside = float(vapour_pressure_pa(temp_c, rh_pct))
        outside = float(vapour_pressure_pa(weather.temp_c[hour], weather.rh_pct[hour]))
        assert inside == pytest.approx(outside, rel=0.08)


def test_cold_air_warmed_is_dry() -> None:
    # Source: computed with psychrometrics alone: 2 °C at 90 %, warmed to 19 °C with no water added, keeps its
    # vapour pressure, so that its humidity falls by the ratio of the saturation pressures.
    room = Room(water_kg_h=0.0)
    air = run(room, RoomAir(19.0, 0.004), 2.0, float(humidity_ratio(2.0, 90.0)), 72)
    found = float(relative_humidity_pct(air.temp_c, 101325.0 * air.ratio / (0.621945 + air.ratio)))
    # From memory, steam tables: saturation at 2 °C 706 Pa, at 19 °C 2198 Pa.
    assert found == pytest.approx(90.0 * 706.0 / 2198.0, rel=0.003)


def test_cold_wall_of_air_condenses() -> None:
    # A shell-drying room without heat in which much water is given off ends saturated and drips.
    room = Room(heater_w=0.0, other_heat_w=0.0, water_kg_h=2.0)
    air = run(room, RoomAir(10.0, 0.005), 8.0, 0.006, 48)
    assert air.ratio == pytest.approx(saturated_ratio(air.temp_c), rel=1e-12)
    assert air.condensed_kg > 0.0


def test_fortnight_is_weather() -> None:
    weather = fortnight()
    path = Path(sensors.shop_air.__file__).with_name("weather_fortnight.csv")
    with path.open(encoding="utf-8", newline="") as file:
        assert [int(row["hour"]) for row in csv.DictReader(file)] == list(range(336))
    assert len(weather.temp_c) == len(weather.rh_pct) == 336
    temps, humidities = np.array(weather.temp_c), np.array(weather.rh_pct)
    assert (dew_point_c(temps, humidities) <= temps + 1e-6).all()
    assert ((humidities > 10) & (humidities <= 100)).all()
    assert max(abs(later - earlier) for earlier, later in pairwise(weather.temp_c)) < 8.0
    # Common knowledge: the afternoon is the warmest part of the day and the small hours are not.
    by_hour = temps.reshape(14, 24).mean(axis=0)
    assert 12 <= by_hour.argmax() <= 17
    assert by_hour.argmin() <= 8
    # What it was chosen for: days of dry air and days of damp.
    daily = vapour_pressure_pa(temps, humidities).reshape(14, 24).mean(axis=1)
    assert (daily < 800.0).sum() >= 2
    assert (daily > 1600.0).sum() >= 2


def test_shop_air_wraps_round_and_is_steady() -> None:
    air = ShopAir(fortnight(), Room(), MIDNIGHT)
    for hour in (0, 11.37, 200, 335.9):
        time = MIDNIGHT + round(hour * HOUR_MS)
        assert air.at(time) == pytest.approx(air.at(time + 336 * HOUR_MS), abs=1e-9)
        assert air.at(time) == pytest.approx(air.at(time - 336 * HOUR_MS), abs=1e-9)
    walk = [air.at(MIDNIGHT + minute * MINUTE_MS) for minute in range(0, 337 * 60, 10)]
    assert max(abs(b[0] - a[0]) for a, b in pairwise(walk)) < 2.5
    assert all(0.0 < rh_pct <= 100.0 for _, rh_pct in walk)


def test_run_in_leaves_no_trace_of_the_start() -> None:
    # The room at the end of the record, a fortnight on, is near where the run-in put it at its beginning.
    weather = fortnight()
    twice = Weather(weather.temp_c * 2, weather.rh_pct * 2)
    once, again = ShopAir(weather, Room(), MIDNIGHT), ShopAir(twice, Room(), MIDNIGHT)
    assert once.at(MIDNIGHT) == pytest.approx(again.at(MIDNIGHT + 336 * HOUR_MS), abs=0.01)
