"""The published shell trial, as a likelihood of members: what they say of its bars, against what was weighed.

Guerra & Dooley, Fundamental analysis into the drying of ceramic shells, INCAST, June 2020: bars at 50 %RH
under fans; 36.5 % of a dip's water left at 60 min, 11.5 % at 120 min, means over the bar; about ten minutes
more on three older coats. Not published, so assumed: 21 °C, bars of 25 mm. Its air is taken as 0.6 m/s (the
second part, Dooley & Everden, INCAST, November 2020) but for a factor that is drawn, its logarithm with a
standard deviation of 0.15, for what is assumed.

It pins down the water a dip brings (given the air), the film's spread, and diffusivity and re-wetting
together; it leaves open each of these two by itself, over two decades and three, and everything about joints.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying.materials import Members, coat
from server.drying.shell import SpotShell
from server.drying.spots import FaceSpot

Floats = NDArray[np.float64]

AIR = Air(21.0, 50.0, 0.6)
BAR_MM = 25.0
AIR_SPREAD = 0.15

LEFT_60, LEFT_60_ERROR = 0.365, 0.03
LEFT_120, LEFT_120_ERROR = 0.115, 0.025
LONGER_MIN, LONGER_ERROR_MIN = (3.0, 30.0), 3.0
"""Minutes more on three older coats: anything between these, an error beyond."""

OLDER = 3
_LOOK_MIN = 5.0
_LAST_MIN = 210.0
_HOPELESS = -8.0


def log_likelihood(members: Members, air_deviates: Floats) -> Floats:
    """How well (M,) members, in the trial's air by such deviates, follow the trial: a logarithm [-]."""
    there = replace(
        members,
        air_speed=np.exp(AIR_SPREAD * air_deviates),
        temp_k=np.zeros(members.count),
        rh_pct=np.zeros(members.count),
    )
    one = mean_left(there, 0)
    hour = int(60.0 / _LOOK_MIN)
    found = -0.5 * ((one[hour] - LEFT_60) / LEFT_60_ERROR) ** 2
    found -= 0.5 * ((one[2 * hour] - LEFT_120) / LEFT_120_ERROR) ** 2
    hopeful = np.flatnonzero(found > _HOPELESS)
    fourth = mean_left(there.take(hopeful), OLDER)
    first = _minute_at(one[:, hopeful], LEFT_120)
    longer = np.where(np.isfinite(first), _minute_at(fourth, LEFT_120), np.inf) - np.minimum(first, _LAST_MIN)
    low, high = LONGER_MIN
    beyond = np.maximum(np.maximum(low - longer, longer - high), 0.0)
    found[hopeful] -= 0.5 * (np.minimum(beyond, 1e3) / LONGER_ERROR_MIN) ** 2
    rest = np.ones(members.count, dtype=np.bool_)
    rest[hopeful] = False
    found[rest] = -np.inf
    return np.asarray(found)


def mean_left(members: Members, older: int) -> Floats:
    """What a scale would see left of the dip's water on a bar each five minutes [-], (times, M)."""
    shell = SpotShell.bare(FaceSpot(), BAR_MM, members=members)
    for _ in range(older):
        shell = shell.dip(coat("backup"))
    shell = shell.at_equilibrium(AIR.rh_pct).dip(coat("backup"))
    course = [shell.water_left()]
    while (len(course) - 1) * _LOOK_MIN < _LAST_MIN:
        shell = shell.advance(AIR, _LOOK_MIN * 60.0)
        course.append(shell.water_left())
    return np.stack(course)


def _minute_at(course: Floats, level: float) -> Floats:
    """When a falling course (times, M) comes to a level [min]; infinite where it does not within sight."""
    below = course <= level
    at = np.where(below.any(axis=0), below.argmax(axis=0), 1)
    lane = np.arange(course.shape[1])
    high, low = np.log(course[at - 1, lane]), np.log(np.maximum(course[at, lane], 1e-9))
    minute = _LOOK_MIN * (at - 1 + (high - np.log(level)) / np.maximum(high - low, 1e-12))
    return np.asarray(np.where(below.any(axis=0), minute, np.inf))
