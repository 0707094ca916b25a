"""The air of a made-up shop out of real weather, by a balance of heat and of moisture.

    C dT/dt = (ρ c V n + K) (T_out − T) + K_g (T_g − T) + P + Q
      dW/dt = n (W_out − W) + S / (ρ V)

T temperature, W humidity ratio [kg/kg], n air changes a second, V volume, C = f ρ c V the heat the room
stores, K loss to the outdoors, K_g to the ground at T_g, P the heater, Q other heat, S water given off. Both
are linear, so a step with constant weather is exact. The heater gives what holds its set point, as far as it
can. Vapour beyond saturation condenses on the walls and is gone; the heat this frees is left out. There is
no solar gain and the walls store no water.
"""

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files

import numpy as np

from sensors.clock import HOUR_MS, Millis
from sensors.humid_air import (
    STANDARD_PRESSURE_PA,
    VAPOUR_TO_AIR_MASS,
    Floats,
    humidity_ratio,
    relative_humidity_pct,
)

AIR_DENSITY_KG_M3 = 1.2
"""Dry air in a cubic metre at about 20 °C [kg/m³]; taken as constant."""
AIR_HEAT_J_KGK = 1006.0

STEP_S = 600.0
_STEPS_AN_HOUR = 6
_RUN_IN_HOURS = 72


@dataclass(frozen=True)
class Weather:
    """Outdoor air, hour by hour from a local midnight: temperature [°C], relative humidity [%].

    After its last hour it begins again.
    """

    temp_c: tuple[float, ...]
    rh_pct: tuple[float, ...]


@dataclass(frozen=True)
class Room:
    """What makes the air of a room. Every default is assumed: a small workshop with a rack of shells."""

    volume_m3: float = 60.0
    air_changes_h: float = 0.7
    loss_w_k: float = 90.0
    """Heat lost through walls and roof a kelvin of difference to the outdoors [W/K]."""
    ground_w_k: float = 0.0
    ground_c: float = 12.0
    stored_heat: float = 15.0
    """Heat that air, furniture and the walls' skin store, over that of the air alone [-]."""
    heater_w: float = 4000.0
    by_day_c: float = 19.0
    by_night_c: float = 14.0
    day_from_h: float = 7.0
    day_to_h: float = 18.0
    other_heat_w: float = 250.0
    water_kg_h: float = 0.04
    """Water given off by shells, slurry pots and people [kg/h]."""

    def set_point_c(self, hour: float) -> float:
        """What the heater holds at that hour of the day [°C]."""
        return self.by_day_c if self.day_from_h <= hour % 24.0 < self.day_to_h else self.by_night_c


@dataclass(frozen=True)
class RoomAir:
    """The state of a room: temperature [°C], humidity ratio [kg/kg]; and in the step that led to it, heat
    from the heater [W] and water that condensed [kg]."""

    temp_c: float
    ratio: float
    heater_w: float = 0.0
    condensed_kg: float = 0.0


def saturated_ratio(temp_c: float) -> float:
    """Humidity ratio of saturated air at 101 325 Pa [kg/kg]."""
    return float(humidity_ratio(temp_c, 100.0))


def step(
    room: Room, air: RoomAir, out_temp_c: float, out_ratio: float, set_point_c: float, seconds: float
) -> RoomAir:
    """The room after some seconds in which the weather and the set point stood still.

    >>> unheated = Room(heater_w=0.0, other_heat_w=0.0, water_kg_h=0.0, air_changes_h=30.0)
    >>> later = step(unheated, RoomAir(20.0, 0.007), 5.0, 0.005, 19.0, 6 * 3600.0)
    >>> round(later.temp_c, 3), round(later.ratio, 5)
    (5.0, 0.005)
    """
    changes = room.air_changes_h / 3600.0
    dry_air_kg = AIR_DENSITY_KG_M3 * room.volume_m3
    exchange = dry_air_kg * AIR_HEAT_J_KGK * changes + room.loss_w_k
    loss = exchange + room.ground_w_k
    rest_c = (exchange * out_temp_c + room.ground_w_k * room.ground_c + room.other_heat_w) / loss
    kept = math.exp(-loss * seconds / (room.stored_heat * dry_air_kg * AIR_HEAT_J_KGK))
    wanted = (set_point_c - air.temp_c * kept) / (1.0 - kept) - rest_c
    heater_w = min(max(wanted * loss, 0.0), room.heater_w)
    rest_c += heater_w / loss
    temp_c = rest_c + (air.temp_c - rest_c) * kept

    rest = out_ratio + room.water_kg_h / 3600.0 / (dry_air_kg * changes)
    ratio = rest + (air.ratio - rest) * math.exp(-changes * seconds)
    most = saturated_ratio(temp_c)
    return RoomAir(temp_c, min(ratio, most), heater_w, max(ratio - most, 0.0) * dry_air_kg)


class ShopAir:
    """The air of a room under that weather, which begins at a local midnight `begins` [ms] and wraps round.

    The room is run in for three days before it, with the weather that ends the record.
    """

    def __init__(self, weather: Weather, room: Room, begins: Millis) -> None:
        self._begins = begins
        hours = len(weather.temp_c)
        out_ratio = humidity_ratio(np.array(weather.temp_c), np.array(weather.rh_pct))
        temps = _between_hours(np.array(weather.temp_c))
        ratios = _between_hours(out_ratio)
        air = RoomAir(float(temps[-1]), float(ratios[-1]))
        states: list[RoomAir] = []
        for number in range(-_RUN_IN_HOURS * _STEPS_AN_HOUR, hours * _STEPS_AN_HOUR):
            if number >= 0:
                states.append(air)
            at = number % len(temps)
            wanted = room.set_point_c(number / _STEPS_AN_HOUR)
            air = step(room, air, float(temps[at]), float(ratios[at]), wanted, STEP_S)
        self._temps_c = _closed([state.temp_c for state in states])
        self._ratios = _closed([state.ratio for state in states])

    def at(self, time: Millis) -> tuple[float, float]:
        """Temperature [°C] and relative humidity [%] at that time [ms], straight lines between the steps."""
        place = (time - self._begins) / HOUR_MS * _STEPS_AN_HOUR % (len(self._temps_c) - 1)
        low = int(place)
        share = place - low
        temp_c = self._temps_c[low] + (self._temps_c[low + 1] - self._temps_c[low]) * share
        ratio = self._ratios[low] + (self._ratios[low + 1] - self._ratios[low]) * share
        vapour_pa = STANDARD_PRESSURE_PA * ratio / (VAPOUR_TO_AIR_MASS + ratio)
        return temp_c, min(float(relative_humidity_pct(temp_c, vapour_pa)), 100.0)


def _between_hours(hourly: Floats) -> Floats:
    """Mean over each step of the straight lines between the hours, the last joined to the first."""
    middles = (np.arange(_STEPS_AN_HOUR) + 0.5) / _STEPS_AN_HOUR
    rise = np.roll(hourly, -1) - hourly
    return np.asarray((hourly[:, None] + rise[:, None] * middles).ravel())


def _closed(values: Sequence[float]) -> list[float]:
    return [*values, values[0]]


def fortnight() -> Weather:
    """336 hours of a real autumn: clear and dry, then mild rain, clear again, cold rain.

    Source, station and licence are in weather_fortnight.md beside the figures.
    """
    text = files("sensors").joinpath("weather_fortnight.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    return Weather(tuple(float(row["temp_c"]) for row in rows), tuple(float(row["rh_pct"]) for row in rows))
