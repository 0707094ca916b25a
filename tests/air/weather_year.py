"""A typical year of weather out of a package, and the air that a made-up shop has in it."""

import csv
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from sensors.clock import HOUR_MS, MINUTE_MS
from sensors.shop_air import Room, ShopAir, Weather

STATIONS = {"Greensboro": "723170TYA.CSV", "Sand Point": "703165TY.csv"}
"""Typical meteorological years in pvlib's wheel (NREL's TMY3: each month is a real one of some year)."""


def weather_year(station: str) -> Weather:
    """8760 hours of outdoor air."""
    text = (files("pvlib") / "data" / STATIONS[station]).read_text(encoding="latin-1")
    rows = list(csv.DictReader(text.splitlines()[1:]))
    return Weather(
        tuple(float(row["Dry-bulb (C)"]) for row in rows), tuple(float(row["RHum (%)"]) for row in rows)
    )


def hourly(weather: Weather, room: Room) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Hourly means of the room's air over the year: temperature [°C], humidity [%RH]."""
    air = ShopAir(weather, room, 0)
    points = [
        [air.at(hour * HOUR_MS + part * 10 * MINUTE_MS) for part in range(6)]
        for hour in range(len(weather.temp_c))
    ]
    means = np.array(points).mean(axis=1)
    return means[:, 0], means[:, 1]
