"""The way of a tree to burnout: when its coats go on, when it can be burnt out, how late it may be dipped.

Each member of the ensemble goes its own way: a coat dries as long as that member says, the next goes on in
the next hour of work, and after the last come drying through and rest. Hands are taken to be free in any hour
of work: how the dips of one day share it is the day's plan.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from sensors.clock import Millis

NEVER: Millis = 2**62
"""In place of a time that does not come within the hours that are known [ms]."""

Window = tuple[Millis, Millis]


@dataclass(frozen=True)
class TreeWay:
    """What is still to come on a tree, by members.

    ready: when each member calls it fit for its next coat, or with no coat to go dry and rested [ms].
    dry_ms: for each coat to go, how long it dries by each member, the last with its rest [ms].
    weights: how far each member is believed [-].
    """

    ready: tuple[Millis, ...]
    dry_ms: tuple[tuple[Millis, ...], ...]
    weights: tuple[float, ...]


@dataclass(frozen=True)
class CoatAhead:
    """A coat to come: percentiles 10, 50, 90 of its dip and of when it is dry [ms]; NEVER where it is not."""

    dips: tuple[Millis, Millis, Millis]
    dry: tuple[Millis, Millis, Millis]


@dataclass(frozen=True)
class Latest:
    """The latest a coat may go on for burnout to be met, at 50 % and at 90 % [ms]; None: too late already."""

    half: Millis | None
    nine_in_ten: Millis | None


def coats_ahead(way: TreeWay, windows: Sequence[Window], dip_ms: Millis) -> tuple[CoatAhead, ...]:
    """When each coat to come goes on and is dry."""
    opens, closes = [start for start, _ in windows], [end - dip_ms for _, end in windows]
    now, found = list(way.ready), []
    for dry in way.dry_ms:
        dips = [_next(ready, opens, closes) for ready in now]
        now = [
            NEVER if dip == NEVER else dip + dip_ms + longer for dip, longer in zip(dips, dry, strict=True)
        ]
        found.append(CoatAhead(_spread(dips, way.weights), _spread(now, way.weights)))
    return tuple(found)


def burnout(way: TreeWay, windows: Sequence[Window], dip_ms: Millis) -> tuple[Millis, Millis, Millis]:
    """When the tree is dry through and rested: percentiles 10, 50 and 90 [ms]; NEVER where not in sight."""
    ahead = coats_ahead(way, windows, dip_ms)
    return ahead[-1].dry if ahead else _spread(list(way.ready), way.weights)


def latest_dips(way: TreeWay, at: Millis, windows: Sequence[Window], dip_ms: Millis) -> tuple[Latest, ...]:
    """For each coat to come, how late it may go on for the tree to be dry through and rested `at` [ms].

    Each member is gone through from the end; so many of them still make it when the dip is no later.
    """
    opens, closes = [start for start, _ in windows], [end - dip_ms for _, end in windows]
    due, found = [at] * len(way.weights), []
    for dry in reversed(way.dry_ms):
        due = [
            _last(end - longer - dip_ms, opens, closes) if end > 0 else 0
            for end, longer in zip(due, dry, strict=True)
        ]
        found.append(Latest(_still(due, way.weights, 0.5), _still(due, way.weights, 0.9)))
    return tuple(reversed(found))


def _next(time: Millis, opens: Sequence[Millis], closes: Sequence[Millis]) -> Millis:
    """The first moment from then on at which a dip may begin.

    >>> _next(5, [0, 20], [10, 30]), _next(15, [0, 20], [10, 30]), _next(31, [0, 20], [10, 30]) == NEVER
    (5, 20, True)
    """
    index = bisect_left(closes, time)
    return NEVER if index == len(closes) else max(time, opens[index])


def _last(time: Millis, opens: Sequence[Millis], closes: Sequence[Millis]) -> Millis:
    """The last moment up to then at which a dip may begin, 0 for none.

    >>> _last(5, [0, 20], [10, 30]), _last(15, [0, 20], [10, 30]), _last(-1, [0, 20], [10, 30])
    (5, 10, 0)
    """
    index = bisect_right(opens, time) - 1
    return 0 if index < 0 else min(time, closes[index])


def _spread(times: Sequence[Millis], weights: Sequence[float]) -> tuple[Millis, Millis, Millis]:
    return _reached(times, weights, 0.1), _reached(times, weights, 0.5), _reached(times, weights, 0.9)


def _reached(times: Sequence[Millis], weights: Sequence[float], level: float) -> Millis:
    """The first time by which so large a share of the members has come there."""
    total = 0.0
    for time, weight in sorted(zip(times, weights, strict=True)):
        total += weight
        if total >= level - 1e-9:
            return time
    return NEVER


def _still(times: Sequence[Millis], weights: Sequence[float], level: float) -> Millis | None:
    """The last time at which so large a share of the members still makes it; None where there is none."""
    total = 0.0
    for time, weight in sorted(zip(times, weights, strict=True), reverse=True):
        total += weight
        if total >= level - 1e-9:
            return time or None
    return None
