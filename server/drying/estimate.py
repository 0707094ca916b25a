"""How long one coat takes in given air: a tree that is not there, for planning and for the curious."""

import math
from dataclasses import dataclass

from sensors.air import Air
from server.drying.materials import DEFAULT_RECIPE, CoatKind, MaterialError, coat, coat_kind
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.drying.verdict import HORIZON_S, follow, thin

MOST_LAYERS = 30


@dataclass(frozen=True)
class SpotEstimate:
    """One spot: when it is fit [s], None where not within the horizon.

    water_left: points (seconds, fraction of the dip's water a scale would see) up to then.
    coldest_c: the lowest temperature of the shell there [°C].
    """

    spot: str
    fit_after_s: float | None
    water_left: tuple[tuple[float, float], ...]
    coldest_c: float


@dataclass(frozen=True)
class Estimate:
    """All spots asked for, which of them is last, and when it is fit [s]."""

    spots: tuple[SpotEstimate, ...]
    slowest: str
    fit_after_s: float | None


def estimate(
    kind: str,
    layer: int,
    temp_c: float,
    rh_pct: float,
    air_speed_m_s: float,
    size_mm: float,
    fillet_mm: float,
    spots: tuple[str, ...],
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
    found = []
    for code in spots:
        spot = parse_spot(code)
        shell = SpotShell.bare(spot, size_mm, fillet_mm)
        for older in older_coats(layer - 1):
            shell = shell.dip(coat(older))
        seconds, course = follow(
            shell.at_equilibrium(rh_pct).dip(coat(name)), air, HORIZON_S, last_coat=False
        )
        found.append(
            SpotEstimate(
                spot=spot.code,
                fit_after_s=seconds,
                water_left=thin([(at, float(now.water_left()[0])) for at, now in course]),
                coldest_c=min(float(now.temp_c[0]) for at, now in course if at > 0.0 or len(course) == 1),
            )
        )
    slowest = max(found, key=lambda one: math.inf if one.fit_after_s is None else one.fit_after_s)
    return Estimate(tuple(found), slowest.spot, slowest.fit_after_s)


def older_coats(count: int) -> tuple[CoatKind, ...]:
    """Kinds of the first coats of the default recipe, before its seal coat; further ones are backup coats.

    >>> older_coats(3)
    ('prime', 'prime', 'backup')
    """
    body = [kind for kind in DEFAULT_RECIPE if kind != "seal"]
    while len(body) < count:
        body.append("backup")
    return tuple(body[:count])
