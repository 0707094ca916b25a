"""What a load cell tells while a tree hangs on it: a handful of quiet points after each dip.

A coat's mass falls fast at first and slowly later, so the points stand at times that grow about threefold.
Each is the middle of a line through the readings around it, by medians. Hands, a tree
taken off and a next coat are no drying.
"""

from collections.abc import Sequence
from itertools import combinations
from math import ceil
from statistics import median

from sensors.clock import MINUTE_MS, Millis

AFTER_MIN = (10, 30, 90, 180, 540)
"""When after a dip the points are taken [min]; assumed."""

AROUND_MS = 5 * MINUTE_MS
"""Readings this far before and after are of one point [ms]: the curve is straight for so long (assumed)."""

FEWEST = 3
"""Fewer readings are no point: a median of two cannot tell a touch."""

LIGHTEST_KG = 0.05
"""A cell that reads less has nothing on it [kg] (assumed)."""

QUIET_KG, QUIET_SHARE = 0.01, 2.0 / 3.0
"""So many of a point's readings lie this near its line, or somebody touches the tree [kg, -] (assumed)."""

RISE_KG = 0.02
"""A drying tree gains no more than this between points, by drift and by damp air [kg] (assumed)."""

FALL_SHARE = 0.2
"""A tree whose area is not said loses no more than this share of its mass as water [-] (assumed)."""

FALL_COATS = 3.0
"""A tree whose area is said loses no more water than so many coats bring [-] (assumed)."""


def hung_points(
    readings: Sequence[tuple[Millis, float]],
    dip_at: Millis,
    until: Millis,
    coat_kg: float | None = None,
) -> tuple[tuple[Millis, float], ...]:
    """The points of one coat, each its time [ms] and mass [kg], by time; at most one for each `AFTER_MIN`.

    readings: time [ms] and mass [kg], by time. until: when the tree left the hook or was dipped again [ms].
    coat_kg: the water that a coat brings to the tree, where its area is known [kg].

    >>> minute = 60_000
    >>> falling = [(t * minute, 2.0 - 0.0005 * t) for t in range(60)]
    >>> [(at, round(kg, 6)) for at, kg in hung_points(falling, 0, 60 * minute)]
    [(600000, 1.995), (1800000, 1.985)]
    """
    found: list[tuple[Millis, float]] = []
    for minutes in AFTER_MIN:
        middle = dip_at + minutes * MINUTE_MS
        if middle + AROUND_MS > until:
            break
        near = [(at, kg) for at, kg in readings if abs(at - middle) <= AROUND_MS]
        if len(near) < FEWEST:
            continue
        mass = _quiet_mass(near, middle)
        if mass is None or mass < LIGHTEST_KG:
            continue
        if found:
            if mass > found[-1][1] + RISE_KG:
                break  # a coat that was not said, or more hangs there: what follows has another tare
            most = FALL_SHARE * found[0][1] if coat_kg is None else FALL_COATS * coat_kg
            if mass < found[0][1] - most:
                continue
        found.append((middle, mass))
    return tuple(found)


def _quiet_mass(near: Sequence[tuple[Millis, float]], middle: Millis) -> float | None:
    """The mass at a moment by a line through the readings around it; None where they do not lie on one."""
    slope = middle_slope(near)
    level = [kg - slope * (at - middle) for at, kg in near]
    mass = median(level)
    off = sorted(abs(kg - mass) for kg in level)
    return mass if off[ceil(QUIET_SHARE * len(off)) - 1] <= QUIET_KG else None


def middle_slope(points: Sequence[tuple[Millis, float]]) -> float:
    """The median of all pairs' slopes, which a touch of up to a quarter of the readings does not tilt.

    Theil (1950) and Sen (1968). Of our own for its size: scipy.stats takes 40 MB to load.

    >>> middle_slope([(0, 1.0), (1, 2.0), (2, 3.0), (3, 40.0)])
    7.0
    """
    slopes = [(b - a) / (later - at) for (at, a), (later, b) in combinations(points, 2) if later != at]
    return median(slopes) if slopes else 0.0
