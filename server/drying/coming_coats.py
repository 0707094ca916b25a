"""How long coats that are not on yet will dry, by each member: a stand-in for the run of the whole tree.

Each coat is reckoned alone, just dipped over older ones at rest in that air, at the slowest spot. Of a run of
alike coats the first is reckoned and the others take its time: of the usual coats the ninth takes a fifteenth
longer than the third. No more than `MOST_COATS` are reckoned at once, for what lies deeper hardly tells. The
air is one air, which each member takes for its own quantile of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying.air_course import deviates
from server.drying.ensemble import Ensemble
from server.drying.materials import DRY_THROUGH_LIMIT, CoatMaterial
from server.drying.shell import SpotShell
from server.drying.spots import CavitySpot, FaceSpot, JointSpot, PocketSpot, Spot, parse_spot
from server.drying.verdict import HORIZON_S, tree_ahead

Floats = NDArray[np.float64]

ANGLE_STEP_DEG = 15.0
BLUNTEST_DEG = 90.0
SIZE_STEP, SPEED_STEP = 3.0, 1.2
"""Joints are reckoned at the next sharper step [°], blunter ones as this; sizes and the speed of the air
at steps of a factor [-]."""

MOST_COATS = 3
"""So many coats are reckoned at most, the newest and those next under it [-]; assumed."""

LONGEST_S = 8 * 24 * 3600.0
"""A coat that dries longer than this is not waited for: no plan would hold [s]; assumed."""

STILL_SLOWER = 1.5
"""The slowest tenth of the members, which nothing waits for, take this times the last one [-]; assumed."""


@dataclass(frozen=True)
class ComingAir:
    """The air that is expected on the whole over the next day, and what it may be off by [K], [%RH]."""

    air: Air
    temp_off: float
    rh_off: float

    @property
    def step(self) -> "ComingAir":
        """The same in steps of half a kelvin and 2.5 %RH, and of a fifth in speed.

        Airs that are next to equal share a run: a speed that is measured is never quite the same.

        >>> from dataclasses import astuple
        >>> coming = ComingAir(Air(19.2, 51.0, 0.31, 1.02), 1.1, 5.0)
        >>> [round(value, 2) for value in astuple(coming.step.air)[:4]]
        [19.0, 50.0, 0.33, 1.0]
        """
        speed = self.air.speed_m_s
        air = replace(
            self.air,
            temp_c=round(2.0 * self.air.temp_c) / 2.0,
            rh_pct=min(2.5 * round(self.air.rh_pct / 2.5), 100.0),
            speed_m_s=SPEED_STEP ** round(np.log(speed) / np.log(SPEED_STEP)) if speed > 0.0 else 0.0,
            temp_wide=round(2.0 * self.air.temp_wide) / 2.0,
            rh_wide=round(2.0 * self.air.rh_wide) / 2.0,
        )
        return ComingAir(air, round(2.0 * self.temp_off) / 2.0, 2.5 * round(self.rh_off / 2.5))


def reckoned_spots(codes: Sequence[str]) -> tuple[str, ...]:
    """The spots that stand for a tree's: a face, and the slowest of the others, rounded to share runs.

    >>> reckoned_spots(["face", "joint:43", "joint:75"]), reckoned_spots(["pocket:14x18", "joint:90"])
    (('face', 'joint:30'), ('face', 'pocket:14x18'))
    """
    slowest = max((parse_spot(code) for code in codes), key=_slowness)
    if isinstance(slowest, JointSpot):
        slowest = JointSpot(min(ANGLE_STEP_DEG * (slowest.angle_deg // ANGLE_STEP_DEG), BLUNTEST_DEG))
    return ("face",) if isinstance(slowest, FaceSpot) else ("face", slowest.code)


def size_step_mm(size_mm: float) -> float:
    """The size that stands for one [mm]: a step of a ladder.

    >>> round(size_step_mm(30.0), 1)
    27.0
    """
    return float(SIZE_STEP ** round(np.log(size_mm) / np.log(SIZE_STEP)))


def coat_seconds(
    coats: Sequence[CoatMaterial],
    spot: str,
    size_mm: float,
    coming: ComingAir,
    ensemble: Ensemble,
    dry_limit: float = DRY_THROUGH_LIMIT,
) -> Floats:
    """How long each coat dries until it is fit, the last until it is dry through [s], (coats, M).

    dry_limit: water over dry mass that a shell which is dry through may hold [-]. What takes longer than
    `LONGEST_S` takes the horizon of a fortnight, which stands for "not in sight".
    """
    times = np.full((len(coats), ensemble.count), np.nan)
    for index in _reckoned(coats):
        through = dry_limit if index + 1 == len(coats) else None
        times[index] = one_coat_seconds(coats[: index + 1], through, spot, size_mm, coming, ensemble)
    for index in range(len(coats)):
        if np.isnan(times[index, 0]):
            times[index] = times[index - 1]
    return times


def one_coat_seconds(
    coats: Sequence[CoatMaterial],
    through: float | None,
    spot: str,
    size_mm: float,
    coming: ComingAir,
    ensemble: Ensemble,
) -> Floats:
    """How long the newest of these coats dries until it is fit [s], (M,); `through`: until it is dry through.

    through: water over dry mass that a shell which is dry through may hold [-]; None: fit for the next coat.
    """
    temp_z, rh_z = deviates(ensemble.count)
    members = replace(
        ensemble.members,
        temp_k=ensemble.members.temp_k + temp_z * coming.temp_off,
        rh_pct=ensemble.members.rh_pct + rh_z * coming.rh_off,
    )
    shell = SpotShell.bare(parse_spot(spot), size_mm, members=members)
    for older in coats[-MOST_COATS:-1]:
        shell = shell.dip(older)
    shell = shell.at_equilibrium(float(coming.air.rh_pct)).dip(coats[-1])
    limit = DRY_THROUGH_LIMIT if through is None else through
    (ahead,) = tree_ahead([shell], coming.air, ensemble, LONGEST_S, through is not None, dry_limit=limit)
    known = np.isfinite(ahead.fit_s)
    if not ensemble.enough(known, 0.9):
        return np.where(known, ahead.fit_s, HORIZON_S)
    return np.minimum(np.where(known, ahead.fit_s, STILL_SLOWER * ahead.fit_s[known].max()), HORIZON_S)


def _reckoned(coats: Sequence[CoatMaterial]) -> list[int]:
    """Which coats are reckoned: the first of each run of one material, and the last of all.

    >>> from server.drying.materials import coat
    >>> _reckoned([coat("prime")] * 2 + [coat("backup")] * 7 + [coat("seal")])
    [0, 2, 9]
    """
    last = len(coats) - 1
    return [index for index in range(last + 1) if index in (0, last) or coats[index] != coats[index - 1]]


def _slowness(spot: Spot) -> tuple[int, float]:
    match spot:
        case FaceSpot():
            return (0, 0.0)
        case JointSpot(angle_deg):
            return (1, -angle_deg)
        case PocketSpot(mouth_mm, depth_mm):
            return (2, depth_mm / mouth_mm)
        case CavitySpot(_, area_m2, blown):
            return (2 if blown else 3, area_m2)
