"""How long one coat takes in given air: a tree that is not there, for planning and for the curious."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying.ensemble import ALONE, CONFIDENCE, Ensemble
from server.drying.materials import DEFAULT_RECIPE, CoatKind, MaterialError, coat, coat_kind
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.drying.verdict import Ahead, thin, tree_ahead

Floats = NDArray[np.float64]

MOST_LAYERS = 30

Spread = tuple[float | None, float | None, float | None]
"""Percentiles 10, 50 and 90 over the members [s]; None where that is not within the horizon."""


@dataclass(frozen=True)
class SpotEstimate:
    """One spot: when it is fit.

    water_left: points (seconds, fraction of the water that a scale would see, mean of the members).
    coldest_c: the lowest temperature of the shell there, mean of the members [°C].
    """

    spot: str
    fit_after_s: Spread
    water_left: tuple[tuple[float, float], ...]
    coldest_c: float


@dataclass(frozen=True)
class Estimate:
    """All spots asked for, which of them is last, and when it is fit, members by their own last spot."""

    spots: tuple[SpotEstimate, ...]
    slowest: str
    fit_after_s: Spread


def estimate(
    kind: str,
    layer: int,
    temp_c: float,
    rh_pct: float,
    air_speed_m_s: float,
    size_mm: float,
    fillet_mm: float,
    spots: tuple[str, ...],
    ensemble: Ensemble = ALONE,
) -> Estimate:
    """One coat of that kind, layer number so and so (1 is on the wax), in air that stays as it is.

    The coats under it are the default recipe's, at equilibrium with the air. Speed in m/s; size (length of
    the face along the air) and fillet radius in mm. Raises ValueError, with thing, value and limits, for what
    cannot be.
    """
    name = coat_kind(kind)
    if not 1 <= layer <= MOST_LAYERS:
        raise MaterialError(f"layer {layer} is outside 1 to {MOST_LAYERS}")
    if not 0.0 <= rh_pct <= 100.0:
        raise ValueError(f"relative humidity {rh_pct:g} % is outside 0 to 100 %")
    if not spots:
        raise ValueError("no spot was given")
    air = Air(temp_c, rh_pct, air_speed_m_s)
    shells = []
    for code in spots:
        shell = SpotShell.bare(parse_spot(code), size_mm, fillet_mm, ensemble.members)
        for older in older_coats(layer - 1):
            shell = shell.dip(coat(older))
        shells.append(shell.at_equilibrium(rh_pct).dip(coat(name)))
    ways = tree_ahead(shells, air, ensemble)
    lateness = [ensemble.quantile(way.fit_s, CONFIDENCE) for way in ways]
    return Estimate(
        spots=tuple(_spot(way, ensemble) for way in ways),
        slowest=shells[lateness.index(max(lateness))].spot.code,
        fit_after_s=_spread(np.stack([way.fit_s for way in ways]).max(axis=0), ensemble),
    )


def _spot(way: Ahead, ensemble: Ensemble) -> SpotEstimate:
    course = way.course
    seen = [now.temp_c for at, now in course if at > 0.0 or len(course) == 1]
    return SpotEstimate(
        spot=course[0][1].spot.code,
        fit_after_s=_spread(way.fit_s, ensemble),
        water_left=thin([(at, ensemble.mean(now.water_left())) for at, now in course]),
        coldest_c=ensemble.mean(np.stack(seen).min(axis=0)),
    )


def _spread(seconds: Floats, ensemble: Ensemble) -> Spread:
    low, middle, high = (None if math.isinf(value) else value for value in ensemble.spread(seconds))
    return low, middle, high


def older_coats(count: int) -> tuple[CoatKind, ...]:
    """Kinds of the first coats of the default recipe, before its seal coat; further ones are backup coats.

    >>> older_coats(3)
    ('prime', 'prime', 'backup')
    """
    body = [kind for kind in DEFAULT_RECIPE if kind != "seal"]
    while len(body) < count:
        body.append("backup")
    return tuple(body[:count])
