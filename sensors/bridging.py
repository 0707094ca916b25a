"""Air to go on with where the record has a gap: the worst that was known at that hour of the last days.

Worst is where a wet face dries slowest. What is chosen is widened towards still slower air: at once by what
a sensor may be wrong by, then, as the gap goes on, by how far the last days differed at that hour. So the
bridge claims less drying than any of the days it rests on, and it is a function of the readings before the
gap alone: it does not matter when it is asked for.
"""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from sensors.air import BLOCK_MS, Air
from sensors.clock import HOUR_MS, Millis
from sensors.humid_air import LOWEST_TEMP_C, saturation_density_kg_m3, vapour_density_kg_m3, wet_bulb_c
from sensors.series import Span

DAY_MS = 24 * HOUR_MS
DAYS = 3
"""So many days before the gap are asked, and so many days of a gap are bridged; assumed."""
REACH_MS = 2 * DAYS * DAY_MS + 2 * HOUR_MS
"""How far before a block [ms] a record has to reach for its bridge to be what it would always be."""
NEAR_MS = HOUR_MS
"""What counts as the same hour of the day: this much before and after [ms]."""
GROWING_MS = 6 * HOUR_MS
"""How long into a gap [ms] the widening takes to be whole; assumed."""

SENSOR_RH_PCT = 2.0
"""What a usual digital sensor may be wrong by [%RH]; common data-sheet figure, from memory."""
SENSOR_TEMP_C = 0.3
"""The same for temperature [K]; from memory."""
NEW_RH_PCT = 15.0
"""What is added where fewer than two days are known at that hour [%RH]: a day's swing indoors; assumed."""
NEW_TEMP_C = 4.0
"""The same for temperature [K]; assumed."""


class Record(Protocol):
    """What is asked of a place's record."""

    def mean(self, start: Millis, end: Millis) -> Air | None:
        """Mean air over [start, end) [ms]; None where it is not known all through."""
        ...

    def missing(self, start: Millis, end: Millis) -> tuple[Span, ...]:
        """The stretches of [start, end) in which the air is not known [ms], in order."""
        ...


@dataclass(frozen=True)
class Bridge:
    """A stretch of a gap [ms] and the worst air that was assumed in it: °C, %RH, m/s."""

    start: Millis
    end: Millis
    lowest_temp_c: float
    highest_rh_pct: float
    lowest_speed_m_s: float


def bridge_of(start: Millis, end: Millis, air: Air) -> Bridge:
    """A bridge of one stretch."""
    return Bridge(start, end, air.temp_c, air.rh_pct, air.speed_m_s)


def joined(bridges: tuple[Bridge, ...], more: Bridge) -> tuple[Bridge, ...]:
    """The bridges with one more, which prolongs the last where it follows on it."""
    if not bridges or bridges[-1].end != more.start:
        return (*bridges, more)
    last = bridges[-1]
    longer = replace(
        last,
        end=more.end,
        lowest_temp_c=min(last.lowest_temp_c, more.lowest_temp_c),
        highest_rh_pct=max(last.highest_rh_pct, more.highest_rh_pct),
        lowest_speed_m_s=min(last.lowest_speed_m_s, more.lowest_speed_m_s),
    )
    return (*bridges[:-1], longer)


def worst_air(record: Record, start: Millis, end: Millis, lowest_temp_c: float = LOWEST_TEMP_C) -> Air | None:
    """The air to reckon with in a stretch [start, end) [ms] of a block that the record does not know.

    It is that of the slowest-drying block known within an hour of that time of day in the three days before
    the gap, at the lowest speed of those, widened. Where fewer than two such days are known, the whole last
    day before the gap counts too, and it is widened more. None where nothing is known, or the gap is older
    than three days. Air colder than `lowest_temp_c` [°C] is not used, nor said.
    """
    gap = record.missing(start - DAYS * DAY_MS, start)
    began = gap[-1][0] if gap and gap[-1][1] == start else start
    if began == start - DAYS * DAY_MS:
        return None
    ahead = start // BLOCK_MS * BLOCK_MS
    known: list[Air] = []
    days = 0
    for day in range(1, 2 * DAYS + 1):
        middle = ahead - day * DAY_MS
        there = _blocks(record, middle - NEAR_MS, middle + NEAR_MS + BLOCK_MS, began, lowest_temp_c)
        days += bool(there)
        known += there
    new = days < 2
    if new:
        known += _blocks(record, began - DAY_MS, began, began, lowest_temp_c)
    if not known:
        return None
    temps = np.array([air.temp_c for air in known])
    humidities = np.array([air.rh_pct for air in known])
    speeds = np.array([air.speed_m_s for air in known])
    worst = known[int(np.argmin(_drying(temps, humidities, speeds)))]
    share = min(1.0, (end - began) / GROWING_MS)
    wider_temp = 0.5 * float(np.ptp(temps)) + (NEW_TEMP_C if new else 0.0)
    wider_rh = 0.5 * float(np.ptp(humidities)) + (NEW_RH_PCT if new else 0.0)
    return Air(
        max(worst.temp_c - SENSOR_TEMP_C - share * wider_temp, lowest_temp_c),
        min(worst.rh_pct + SENSOR_RH_PCT + share * wider_rh, 100.0),
        float(speeds.min()),
        pressure_pa=worst.pressure_pa,
    )


def _blocks(record: Record, start: Millis, end: Millis, began: Millis, lowest_temp_c: float) -> list[Air]:
    """The known air of the whole blocks in [start, end) of the days that are asked, before the gap."""
    first = max(start, began - DAYS * DAY_MS - NEAR_MS)
    found = []
    for at in range(-(-first // BLOCK_MS) * BLOCK_MS, min(end, began) - BLOCK_MS + 1, BLOCK_MS):
        air = record.mean(at, at + BLOCK_MS)
        if air is not None and air.temp_c >= lowest_temp_c:
            found.append(air)
    return found


def _drying(
    temps_c: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    rh_pct: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    speeds_m_s: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """How fast a wet face dries, up to a factor: its vapour at the wet bulb above the air's, times √speed.

    The root is that of a laminar layer along a plate (Lienhard, A Heat Transfer Textbook, chapter 6).
    """
    above = saturation_density_kg_m3(wet_bulb_c(temps_c, rh_pct)) - vapour_density_kg_m3(temps_c, rh_pct)
    return np.asarray(np.sqrt(speeds_m_s) * above, dtype=np.float64)
