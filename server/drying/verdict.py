"""The two questions, never mixed: may the next coat go on, and is the whole shell dry through."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying.air_course import AirCourse
from server.drying.ensemble import ALONE, CONFIDENCE, Ensemble
from server.drying.materials import COOLING_LIMIT_K, DRY_THROUGH_LIMIT, RH_CEILING_PCT, fit_limit
from server.drying.shell import SpotShell

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Point = TypeVar("Point")

HORIZON_S = 14 * 24 * 3600.0
MOST_POINTS = 60

_SHORTEST_LOOK_S = 60.0
_LONGEST_LOOK_S = 1800.0
_SHORT_LOOK_S = 120.0
_WAIT_S = 24 * 3600.0
_NO_MORE = 1e-3


@dataclass(frozen=True, eq=False)
class Ahead:
    """What comes at one spot, in air that goes on as it is.

    fit_s: (M,) until the spot is fit (for the last coat: dry through) [s]; infinite where not in sight.
    course: the shell now and at times ahead [s].
    """

    fit_s: Floats
    course: tuple[tuple[float, SpotShell], ...]

    @property
    def seconds(self) -> float | None:
        """Of a lone member, when it is fit [s]; None where that is not in sight."""
        (alone,) = self.fit_s
        return None if math.isinf(alone) else float(alone)

    def curve(self, ensemble: Ensemble, level: float = CONFIDENCE) -> tuple[tuple[float, float], ...]:
        """Points (seconds from now, a quantile of what remains [-]), at most `MOST_POINTS`."""
        return self.curves(ensemble, (level,))[0]

    def curves(
        self, ensemble: Ensemble, levels: Sequence[float]
    ) -> tuple[tuple[tuple[float, float], ...], ...]:
        """For each level a curve as `curve` gives it, all from one look at the shells."""
        left = [(at, now.remaining()) for at, now in thin(self.course)]
        return tuple(tuple((at, ensemble.quantile(value, level)) for at, value in left) for level in levels)


def fit_by_member(shell: SpotShell, air: Air, kind: str) -> Bools:
    """Which members call this spot fit for the next coat over one of that kind, in that air (M,).

    Little enough remains, hardly anything evaporates any more, and the air is not too damp to tell.
    """
    dry = (shell.remaining() <= fit_limit(kind)) & (shell.cooling_k() < COOLING_LIMIT_K)
    return np.asarray(dry & (air.rh_pct <= RH_CEILING_PCT))


def is_fit(shell: SpotShell, air: Air, kind: str) -> bool:
    """Whether every member calls this spot fit."""
    return bool(fit_by_member(shell, air, kind).all())


def dry_by_member(shell: SpotShell, limit: float = DRY_THROUGH_LIMIT) -> Bools:
    """Which members say that the whole shell at this spot is dry through (M,).

    It holds no more water than the limit over its dry mass [-].
    """
    return np.asarray(shell.shell_water_fraction() <= limit)


def is_dry_through(shell: SpotShell, limit: float = DRY_THROUGH_LIMIT) -> bool:
    """Whether every member says so."""
    return bool(dry_by_member(shell, limit).all())


def time_to_fit(
    shell: SpotShell,
    air: Air,
    horizon_s: float = HORIZON_S,
    last_coat: bool = False,
    ensemble: Ensemble = ALONE,
) -> Ahead:
    """When a spot comes fit, or with `last_coat` dry through: as `tree_ahead`, of one spot."""
    return tree_ahead([shell], air, ensemble, horizon_s, last_coat)[0]


def tree_ahead(
    shells: Sequence[SpotShell],
    air: Air,
    ensemble: Ensemble = ALONE,
    horizon_s: float = HORIZON_S,
    last_coat: bool = False,
    settled: Bools | None = None,
    confidence: float = CONFIDENCE,
    course: AirCourse | None = None,
    dry_limit: float = DRY_THROUGH_LIMIT,
) -> tuple[Ahead, ...]:
    """When each spot of a tree comes fit, or with `last_coat` dry through, in the air of a `course`.

    Without one the air goes on as it is.

    All members together, on copies. Ended once so many of them call every spot fit that percentile 90 and the
    confidence's are known: the others' times are then infinite. Members of whom it is `settled` (M,) count
    as done. Given up at the horizon, in air so damp that nothing is called fit, and at a spot where for a
    day next to nothing happens. dry_limit: water over dry mass that a dry shell may hold [-].
    """
    if any(shell.members.count != ensemble.count for shell in shells):
        raise ValueError(f"shells of {shells[0].members.count} members for an ensemble of {ensemble.count}")
    done = np.zeros(ensemble.count, dtype=np.bool_) if settled is None else settled
    ways = [_Way(shell, air, dry_limit if last_coat else None, course) for shell in shells]
    least = max(confidence, 0.9)
    while True:
        known = np.isfinite(np.stack([way.fit_s for way in ways])).all(axis=0) | done
        going = [way for way in ways if not way.ended and way.seconds < horizon_s]
        if not going or ensemble.enough(known, least):
            return tuple(Ahead(way.fit_s, tuple(way.course)) for way in ways)
        for way in going:
            way.go_on(horizon_s)


class _Way:
    """One spot on its way ahead."""

    def __init__(
        self, shell: SpotShell, air: Air, dry_limit: float | None, course: AirCourse | None = None
    ) -> None:
        self.air, self.dry_limit, self.foretold = air, dry_limit, course
        self.shell, self.seconds = shell, 0.0
        self.course: list[tuple[float, SpotShell]] = [(0.0, shell)]
        self.lack = self._lack(shell)
        self.fit_s: Floats = np.where(self.lack <= 1.0, 0.0, np.inf)
        self.least, self.waiting_since = self.lack.copy(), np.zeros(self.lack.size)
        # Damp air that stays as it is lets nothing come fit; damp air that passes does.
        hopeless = np.isinf(self.lack) & (course is None)
        self.ended = bool((np.isfinite(self.fit_s) | hopeless).all()) or not shell.coats

    def go_on(self, horizon_s: float) -> None:
        """One look further: they are closer together while the coat is young."""
        grown = max(0.1 * self.shell.age_s, _SHORTEST_LOOK_S)
        look = min(grown, _LONGEST_LOOK_S, horizon_s - self.seconds)
        before, start, high = self.shell, self.seconds, self.lack
        self.shell = self._advanced(before, look)
        self.seconds += look
        self.lack = low = self._lack(self.shell)
        self.course.append((self.seconds, self.shell))
        came = (low <= 1.0) & np.isinf(self.fit_s)
        if came.any():
            if came.size == 1:
                self.fit_s = self._last_stretch(start, before, look)
            else:
                # The spread of the members is far wider than what closer looks would still find.
                crossed = start + look * _share_to_crossing(high[came], low[came])
                self.fit_s = self.fit_s.copy()
                self.fit_s[came] = crossed
        moved = low < self.least * (1.0 - _NO_MORE)
        self.waiting_since = np.where(moved, self.seconds, self.waiting_since)
        self.least = np.where(moved, low, self.least)
        idle = self.seconds - self.waiting_since > _WAIT_S
        self.ended = bool((np.isfinite(self.fit_s) | idle).all())

    def _advanced(self, shell: SpotShell, look: float) -> SpotShell:
        """The shell after a look in the air of that time."""
        if self.foretold is None:
            return shell.advance(self.air, look)
        middle = self.seconds + 0.5 * look
        self.air = self.foretold.at(middle)
        as_taken = replace(shell, members=self.foretold.taken_by(shell.members, middle))
        return replace(as_taken.advance(self.air, look), members=shell.members)

    def _lack(self, shell: SpotShell) -> Floats:
        """How far from fit (M,): the worst of what is limited, over its limit; 1 when fit."""
        if self.dry_limit is not None:
            return np.asarray(shell.shell_water_fraction() / self.dry_limit)
        if self.air.rh_pct > RH_CEILING_PCT:
            return np.full(shell.members.count, np.inf)
        limit = fit_limit(shell.coats[-1].kind) if shell.coats else 1.0
        return np.maximum(shell.remaining() / limit, shell.cooling_k() / COOLING_LIMIT_K)

    def _last_stretch(self, start: float, shell: SpotShell, seconds: float) -> Floats:
        """When in a stretch a lone member comes fit [s]: gone through once more in short looks."""
        looks = math.ceil(seconds / _SHORT_LOOK_S)
        look, high = seconds / looks, self._lack(shell)
        for index in range(looks):
            shell = shell.advance(self.air, look)
            low = self._lack(shell)
            if (low <= 1.0).all():
                return np.asarray(start + (index + _share_to_crossing(high, low)) * look)
            high = low
        return np.array([start + seconds])


def thin(points: Sequence[Point], most: int = MOST_POINTS) -> tuple[Point, ...]:
    """At most so many of the points, evenly among them, first and last kept.

    >>> thin([(float(t), 0.0) for t in range(5)], 3)
    ((0.0, 0.0), (2.0, 0.0), (4.0, 0.0))
    """
    if len(points) <= most:
        return tuple(points)
    return tuple(points[round(i * (len(points) - 1) / (most - 1))] for i in range(most))


def _share_to_crossing(high: Floats, low: Floats) -> Floats:
    """Share of the way at which what was `high` and came to `low` was 1: what dries does so exponentially."""
    positive = low > 0.0
    floor = np.where(positive, low, 1.0)
    # What was out of the question in damp air came when that had passed: at the end of the look.
    high = np.where(np.isinf(high), 1.0, high)
    bent = np.log(high) / np.log(np.maximum(high / floor, 1.0 + 1e-12))
    straight = (high - 1.0) / np.where(high > low, high - low, 1.0)
    return np.asarray(np.where(high > 1.0, np.where(positive, bent, straight), 1.0))
