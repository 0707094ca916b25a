"""One quantity at one node through time: readings joined by straight lines where they are near enough.

Between two readings no further apart than the gap limit the value is on the straight line between them;
outside that nothing is known, but at the very moment of a reading.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable

from sensors.clock import MINUTE_MS, Millis

LEAST_PATIENCE_MS = 5 * MINUTE_MS

Span = tuple[Millis, Millis]
"""A stretch of time from its first to its last known moment, both included [ms]."""


class Series:
    """Readings of one quantity at one node.

    What it says is a function of the set of readings, in whatever order they came. Of two readings at one
    time the first that came stays.
    """

    def __init__(self, gap_limit: Millis) -> None:
        self._gap_limit = gap_limit
        self._times: list[Millis] = []
        self._values: list[float] = []
        self._spans: list[Span] | None = []
        self._forgotten: Millis | None = None

    def add(self, time: Millis, value: float) -> Millis | None:
        """Take one reading in; returns the time after which values may have changed, None if nothing did."""
        place = bisect_left(self._times, time)
        if place < len(self._times) and self._times[place] == time:
            return None
        if place == 0 and self._forgotten is not None and time < self._forgotten:
            return None
        self._times.insert(place, time)
        self._values.insert(place, value)
        before = self._times[place - 1] if place else None
        joined = before is not None and time - before <= self._gap_limit
        if place < len(self._times) - 1:
            self._spans = None
        elif self._spans is not None:
            self._lengthen(self._spans, time, joined)
        return before if joined else time

    @staticmethod
    def _lengthen(spans: list[Span], time: Millis, joined: bool) -> None:
        if joined:
            spans[-1] = (spans[-1][0], time)
        else:
            spans.append((time, time))

    def spans(self) -> list[Span]:
        """The stretches in which the value is known, in order."""
        if self._spans is None:
            self._spans = []
            before: Millis | None = None
            for time in self._times:
                joined = before is not None and time - before <= self._gap_limit
                self._lengthen(self._spans, time, joined)
                before = time
        return self._spans

    @property
    def last(self) -> Millis:
        """Time of the last reading [ms]."""
        return self._times[-1]

    @property
    def patience(self) -> Millis:
        """How long its next reading is waited for [ms].

        Twice the last spacing: at least five minutes, at most the gap limit.
        """
        spacing = self._times[-1] - self._times[-2] if len(self._times) > 1 else 0
        return min(max(LEAST_PATIENCE_MS, 2 * spacing), self._gap_limit)

    def at(self, moments: Iterable[Millis]) -> list[float | None]:
        """The value at each of these rising moments; None where it is not known."""
        times, values = self._times, self._values
        ends = len(times) - 1
        place: int | None = None
        found: list[float | None] = []
        for moment in moments:
            if place is None:
                place = bisect_right(times, moment) - 1
            while place < ends and times[place + 1] <= moment:
                place += 1
            if place < 0:
                found.append(None)
            elif times[place] == moment:
                found.append(values[place])
            elif place < ends and times[place + 1] - times[place] <= self._gap_limit:
                share = (moment - times[place]) / (times[place + 1] - times[place])
                found.append(values[place] + (values[place + 1] - values[place]) * share)
            else:
                found.append(None)
        return found

    def between(self, start: Millis, end: Millis) -> tuple[list[Millis], list[float]]:
        """The readings of [start, end] [ms]: their times and values."""
        first, after = bisect_left(self._times, start), bisect_right(self._times, end)
        return self._times[first:after], self._values[first:after]

    def forget(self, before: Millis) -> None:
        """Let go of readings that no longer bear on that time and after; two are kept in any case."""
        gone = min(bisect_right(self._times, before) - 1, len(self._times) - 2)
        if gone > 0:
            del self._times[:gone], self._values[:gone]
            self._spans = None
        self._forgotten = before if self._forgotten is None else max(before, self._forgotten)


def intersect(some: list[Span], others: list[Span]) -> list[Span]:
    """The stretches that are in both, where each is in order and without overlap.

    >>> intersect([(0, 10), (20, 30)], [(5, 25)])
    [(5, 10), (20, 25)]
    """
    shared: list[Span] = []
    i = j = 0
    while i < len(some) and j < len(others):
        start, end = max(some[i][0], others[j][0]), min(some[i][1], others[j][1])
        if start <= end:
            shared.append((start, end))
        if some[i][1] <= others[j][1]:
            i += 1
        else:
            j += 1
    return shared
