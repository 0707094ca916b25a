"""How a spot dried, ready to be drawn: one run of points for each coat, and one for what is ahead."""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import itemgetter

from scheduler.forecast import NEVER, Quantiles
from sensors.clock import Millis
from server.pages.axes import TimeAxis
from server.verdicts import Band, CoatVerdict, Course, Curve, SpotVerdict

APART = 0.5
"""Points of a line nearer to each other than this are one [units of the drawing, about a phone's pixel]."""


@dataclass(frozen=True)
class Run:
    """A stretch that is drawn in one go; what is not known of its spread is nothing wide."""

    points: Course
    ahead: bool = False

    def on(self, axis: TimeAxis) -> list[tuple[Millis, float, float, float]]:
        """The part that lies on the axis, cut at its end between two points."""
        inside: list[tuple[Millis, float, float, float]] = []
        for point in self.points:
            if point[0] > axis.end:
                if inside:
                    inside.append(_between(inside[-1], point, axis.end))
                break
            if point[0] >= axis.start:
                inside.append(point)
        return inside

    def drawn(self, axis: TimeAxis) -> list[tuple[Millis, float, float, float]]:
        """The part on the axis without points that lie nearer to the one before than a line shows.

        Its first and its last point stay. A line through what is left is off by less than APART to the side.

        >>> from zoneinfo import ZoneInfo
        >>> run = Run(tuple((time, 1.0, 1.0, 1.0) for time in range(1001)))
        >>> kept = run.drawn(TimeAxis(0, 1000, 0.0, 10.0, ZoneInfo("UTC")))
        >>> len(kept), kept[0][0], kept[-1][0]
        (21, 0, 1000)
        """
        inside = self.on(axis)
        least = APART * (axis.end - axis.start) / (axis.right - axis.left)
        kept = inside[:1]
        for point in inside[1:-1]:
            if point[0] - kept[-1][0] >= least:
                kept.append(point)
        return kept + inside[1:][-1:]


@dataclass(frozen=True)
class Trace:
    """One spot's runs, in order of time."""

    code: str
    name: str
    runs: tuple[Run, ...]
    fit_at: Quantiles = NEVER

    @property
    def start(self) -> Millis | None:
        """Its first point [ms]."""
        return next((run.points[0][0] for run in self.runs if run.points), None)

    @property
    def end(self) -> Millis | None:
        """Its last point [ms]."""
        return next((run.points[-1][0] for run in reversed(self.runs) if run.points), None)

    def values(self, axis: TimeAxis) -> Iterator[float]:
        """What remains at its points on the axis."""
        for run in self.runs:
            yield from (value for _, value, _, _ in run.on(axis))


@dataclass(frozen=True)
class Word:
    """What was felt or seen at a spot, when [ms], in words, and whether that was dry."""

    spot: str
    at: Millis
    said: str
    dry: bool


def trace_of(spot: SpotVerdict, before: Sequence[CoatVerdict] = ()) -> Trace:
    """A spot's trace since the latest dip; with coats that were `before`, through all of those too."""
    courses = (course for coat in before for code, course in coat.courses if code == spot.code)
    runs = (
        *(Run(course) for course in courses if course),
        Run(_course(spot.curve, spot.band)),
        Run(_course(spot.ahead, spot.band_ahead), ahead=True),
    )
    return Trace(spot.code, spot.name, runs, spot.fit_at)


def coming(trace: Trace) -> bool:
    """Whether anything is ahead of it."""
    return any(run.ahead and run.points for run in trace.runs)


def value_at(trace: Trace, time: Millis) -> tuple[float, float, float] | None:
    """What remains at a time, with its percentiles 10 and 90, between the points beside it; None outside.

    >>> trace = Trace("face", "body", (Run(((0, 1.0, 1.0, 1.0), (100, 0.5, 0.25, 0.75))),))
    >>> value_at(trace, 50), value_at(trace, 101)
    ((0.75, 0.625, 0.875), None)
    """
    for run in reversed(trace.runs):
        if run.points and run.points[0][0] <= time <= run.points[-1][0]:
            after = bisect_left(run.points, time, key=itemgetter(0))
            _, value, low, high = _between(run.points[max(after - 1, 0)], run.points[after], time)
            return value, low, high
    return None


def _course(curve: Curve, band: Band) -> Course:
    if len(band) != len(curve):  # the judge says no spread
        return tuple((at, value, value, value) for at, value in curve)
    return tuple((at, value, low, high) for (at, value), (_, low, high) in zip(curve, band, strict=True))


def _between(
    before: tuple[Millis, float, float, float], after: tuple[Millis, float, float, float], time: Millis
) -> tuple[Millis, float, float, float]:
    span = after[0] - before[0]
    part = (time - before[0]) / span if span else 0.0
    value, low, high = (was + (is_ - was) * part for was, is_ in zip(before[1:], after[1:], strict=True))
    return time, value, low, high
