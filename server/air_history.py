"""The air of a place over days, for charts: means of what its good nodes said, by the hour or by ten minutes.

Bins that are over do not change but by readings that come late, so their means are kept once made; `heard`
says from when on they are to be made anew. What is shown beside a verdict is the judge's own record.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from threading import Lock

import numpy as np

from sensors.air import GAP_LIMIT_MS
from sensors.clock import DAY_MS, HOUR_MS, Millis
from sensors.humid_air import relative_humidity_pct, vapour_pressure_pa
from sensors.reading import QUANTITIES, Reading
from server.store.binned import Bin, binned
from server.store.engine import Engine
from server.store.readings import AIR
from server.store.values import BatchOutcome
from server.verdicts import AirPoint

FORTNIGHT_MS = 14 * DAY_MS
KEPT_MS = FORTNIGHT_MS + DAY_MS
"""Hours older than this are let go of [ms]."""


@dataclass(frozen=True)
class LeftOut:
    """From `start` to `end` [ms] a node does not count in its place's air; `end` None: still."""

    node: str
    start: Millis
    end: Millis | None


@dataclass
class _Kept:
    bins: list[Bin] = field(default_factory=list)
    start: Millis = 0
    until: Millis = 0
    """The bins of [start, until) are as they were last heard [ms]."""


@dataclass
class AirHistory:
    """The means of each place. May be asked by several threads at once."""

    engine: Engine
    _kept: dict[tuple[str, Millis], _Kept] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def heard(self, outcome: BatchOutcome) -> None:
        """Take note that readings were kept: bins from the earliest of them on are made anew."""
        with self._lock:
            for (place, width), kept in self._kept.items():
                earliest = outcome.earliest.get(place)
                if earliest is not None:
                    kept.until = min(kept.until, earliest - earliest % width)

    def warm(self, places: Sequence[str], now: Millis) -> None:
        """Make the hours of a fortnight before somebody waits for them."""
        for place in places:
            end = now - now % HOUR_MS + HOUR_MS
            self.bins(place, end - FORTNIGHT_MS, end, HOUR_MS)

    def bins(self, place: str, start: Millis, end: Millis, width: Millis) -> list[Bin]:
        """What each node said, as means over bins of `width` [ms] from `start` on, as it came.

        `start` is a whole number of widths.
        """
        with self._lock:
            kept = self._kept.setdefault((place, width), _Kept())
            if start < kept.start or kept.until <= start:
                kept.bins, kept.start, kept.until = [], start, start
            fresh = binned(self.engine, place, AIR, kept.until, end, width)
            least = max(start, end - KEPT_MS)
            kept.bins = [one for one in kept.bins if least <= one.start < kept.until] + fresh
            kept.start = least - least % width
            # The bin that is not over yet is asked for again the next time.
            kept.until = max(kept.until, end - end % width)
            return [one for one in kept.bins if start <= one.start < end]


def air_means(
    bins: Sequence[Bin],
    start: Millis,
    end: Millis,
    width: Millis,
    left_out: Sequence[LeftOut] = (),
) -> list[AirPoint]:
    """The air of each bin of [start, end): medians over the nodes of temperature and of vapour pressure.

    A node counts in a bin in which it told both, unless it is left out there. Bins between two that are known
    and no further apart than the gap limit are joined by a straight line; others stay not known.
    """
    told: dict[Millis, dict[str, dict[str, float]]] = {}
    for one in bins:
        middle = one.start + width // 2
        if not any(out.node == one.node and _within(out, middle) for out in left_out):
            told.setdefault(one.start, {}).setdefault(one.node, {})[one.name] = one.mean
    return _joined(_combined(told), start, end, width)


def corrected(bins: Sequence[Bin], place: str, correct: Callable[[Reading], Reading]) -> list[Bin]:
    """The bins with their nodes' calibrations applied: a line goes through a mean as through a value."""
    said = (
        Reading(place, one.node, one.name, QUANTITIES[one.name].unit, one.mean, one.start) for one in bins
    )
    return [Bin(one.node, one.name, one.time, one.value) for one in map(correct, said)]


def _within(out: LeftOut, time: Millis) -> bool:
    return out.start <= time and (out.end is None or time < out.end)


def _combined(told: Mapping[Millis, Mapping[str, Mapping[str, float]]]) -> dict[Millis, AirPoint]:
    """The medians of each bin in which a node told both, all in one go: a person waits for the chart."""
    whole = {
        at: both
        for at, nodes in told.items()
        if (both := [said for said in nodes.values() if len(said) == len(AIR)])
    }
    pairs = [said for both in whole.values() for said in both]
    pressures = iter(
        vapour_pressure_pa(
            np.array([said["temperature"] for said in pairs]), np.array([said["humidity"] for said in pairs])
        ).tolist()
    )
    temps = [median(said["temperature"] for said in both) for both in whole.values()]
    vapours = [median(next(pressures) for _ in both) for both in whole.values()]
    humidities = np.minimum(relative_humidity_pct(np.array(temps), np.array(vapours)), 100.0).tolist()
    return {
        at: AirPoint(at, temp, humidity) for at, temp, humidity in zip(whole, temps, humidities, strict=True)
    }


def _joined(known: Mapping[Millis, AirPoint], start: Millis, end: Millis, width: Millis) -> list[AirPoint]:
    points: list[AirPoint] = []
    pending: list[Millis] = []
    last: AirPoint | None = None
    for at in range(start, end, width):
        point = known.get(at)
        if point is None:
            pending.append(at)
            continue
        near = last is not None and at - last.time <= GAP_LIMIT_MS
        points += [
            _between(last, point, time) if near and last else AirPoint(time, None, None) for time in pending
        ]
        points.append(point)
        pending, last = [], point
    return points + [AirPoint(time, None, None) for time in pending]


def _between(before: AirPoint, after: AirPoint, time: Millis) -> AirPoint:
    part = (time - before.time) / (after.time - before.time)
    assert before.temp_c is not None
    assert after.temp_c is not None
    assert before.rh_pct is not None
    assert after.rh_pct is not None
    return AirPoint(
        time,
        before.temp_c + (after.temp_c - before.temp_c) * part,
        before.rh_pct + (after.rh_pct - before.rh_pct) * part,
    )
