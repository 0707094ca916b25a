"""The two questions, never mixed: may the next coat go on, and is the whole shell dry through."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from sensors.air import Air
from server.drying.materials import COOLING_LIMIT_K, DRY_THROUGH_LIMIT, RH_CEILING_PCT, fit_limit
from server.drying.shell import SpotShell

HORIZON_S = 14 * 24 * 3600.0
MOST_POINTS = 60

_SHORTEST_LOOK_S = 60.0
_LONGEST_LOOK_S = 1800.0
_SHORT_LOOK_S = 120.0
_WAIT_S = 24 * 3600.0
_NO_MORE = 1e-3


@dataclass(frozen=True)
class Ahead:
    """What comes, in air that goes on as it is.

    seconds: until the spot is fit (for the last coat: dry through) [s]; None where that is not in sight.
    curve: points (seconds from now, remaining [-]), at most `MOST_POINTS`.
    """

    seconds: float | None
    curve: tuple[tuple[float, float], ...]


def is_fit(shell: SpotShell, air: Air, kind: str) -> bool:
    """Whether this spot allows the next coat over one of that kind, in that air.

    Little enough remains, hardly anything evaporates any more, and the air is not too damp to tell.
    """
    return bool(
        air.rh_pct <= RH_CEILING_PCT
        and shell.remaining()[0] <= fit_limit(kind)
        and shell.cooling_k()[0] < COOLING_LIMIT_K
    )


def is_dry_through(shell: SpotShell, limit: float = DRY_THROUGH_LIMIT) -> bool:
    """Whether the whole shell at this spot holds no more water than the limit over its dry mass [-]."""
    return bool(shell.shell_water_fraction()[0] <= limit)


def time_to_fit(shell: SpotShell, air: Air, horizon_s: float = HORIZON_S, last_coat: bool = False) -> Ahead:
    """When the spot comes fit, or with `last_coat` dry through, if the air goes on as it is.

    Works on a copy. Given up at the horizon, in air so damp that nothing is called fit, and when a day passes
    in which next to nothing happens.
    """
    seconds, course = follow(shell, air, horizon_s, last_coat)
    return Ahead(seconds, thin([(at, float(now.remaining()[0])) for at, now in course]))


def follow(
    shell: SpotShell, air: Air, horizon_s: float, last_coat: bool
) -> tuple[float | None, list[tuple[float, SpotShell]]]:
    """As `time_to_fit`, with the shells on the way and their times [s]."""

    def lack(now: SpotShell) -> float:
        """How far from fit: the worst of what is limited, over its limit; 1 when fit."""
        if last_coat:
            return float(now.shell_water_fraction()[0]) / DRY_THROUGH_LIMIT
        if air.rh_pct > RH_CEILING_PCT:
            return math.inf
        limit = fit_limit(now.coats[-1].kind) if now.coats else 1.0
        return max(float(now.remaining()[0]) / limit, float(now.cooling_k()[0]) / COOLING_LIMIT_K)

    course: list[tuple[float, SpotShell]] = []
    waiting_since, least = 0.0, math.inf
    for seconds, now in _march(shell, air, horizon_s):
        here = lack(now)
        if here <= 1.0 and course:
            return _last_stretch(*course[-1], seconds, air, lack), [*course, (seconds, now)]
        course.append((seconds, now))
        if here <= 1.0:
            return seconds, course
        if math.isinf(here):
            break
        if here < least * (1.0 - _NO_MORE):
            waiting_since, least = seconds, here
        elif seconds - waiting_since > _WAIT_S:
            break
    return None, course


def _march(shell: SpotShell, air: Air, horizon_s: float) -> Iterator[tuple[float, SpotShell]]:
    """The shell now and at times ahead [s], closer together while the coat is young."""
    seconds, around = 0.0, None
    yield seconds, shell
    while seconds < horizon_s and shell.coats:
        look = min(max(0.1 * shell.age_s, _SHORTEST_LOOK_S), _LONGEST_LOOK_S, horizon_s - seconds)
        shell, around = shell.glide(air, look, around)
        seconds += look
        yield seconds, shell


def thin(points: list[tuple[float, float]], most: int = MOST_POINTS) -> tuple[tuple[float, float], ...]:
    """At most so many of the points, evenly among them, first and last kept.

    >>> thin([(float(t), 0.0) for t in range(5)], 3)
    ((0.0, 0.0), (2.0, 0.0), (4.0, 0.0))
    """
    if len(points) <= most:
        return tuple(points)
    return tuple(points[round(i * (len(points) - 1) / (most - 1))] for i in range(most))


def _last_stretch(
    start: float, shell: SpotShell, end: float, air: Air, lack: Callable[[SpotShell], float]
) -> float:
    """When in a stretch the shell comes fit [s]: gone through once more in short looks."""
    looks = math.ceil((end - start) / _SHORT_LOOK_S)
    look, high, around = (end - start) / looks, lack(shell), None
    for index in range(looks):
        shell, around = shell.glide(air, look, around)
        low = lack(shell)
        if low <= 1.0:
            return _crossing(start + index * look, high, start + (index + 1) * look, low)
        high = low
    return end


def _crossing(start: float, high: float, end: float, low: float) -> float:
    """When what was `high` at the start and `low` at the end came to 1: what dries does so exponentially."""
    share = math.log(high) / math.log(high / low) if low > 0.0 else (high - 1.0) / (high - low)
    return start + (end - start) * share
