"""Axes of a chart: where shop time and values fall in the picture, and which of them are worth a label."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from sensors.clock import HOUR_MS, MINUTE_MS, SECOND_MS, Millis

_STEPS_MIN = (15, 30, 60, 120, 180, 360, 720, 1440, 2880, 5760, 10080)


@dataclass(frozen=True)
class TimeAxis:
    """Shop time from `start` to `end` laid from `left` to `right` in the picture. Never of no length."""

    start: Millis
    end: Millis
    left: float
    right: float
    zone: tzinfo

    def __post_init__(self) -> None:
        if self.end <= self.start:
            raise ValueError(f"a time axis must end after it starts, not {self.end} after {self.start}")

    def x(self, moment: Millis) -> float:
        """Where a time falls.

        >>> from zoneinfo import ZoneInfo
        >>> TimeAxis(0, 1000, 30.0, 130.0, ZoneInfo("UTC")).x(500)
        80.0
        """
        return self.left + (moment - self.start) / (self.end - self.start) * (self.right - self.left)

    def holds(self, moment: Millis) -> bool:
        """Whether a time lies on the axis."""
        return self.start <= moment <= self.end

    def ticks(self, most: int = 4) -> Iterator[tuple[Millis, str]]:
        """At most that many round local times with their labels; days get their name.

        >>> from zoneinfo import ZoneInfo
        >>> start = 1772438400000  # 08:00 UTC
        >>> axis = TimeAxis(start, start + 5 * 3_600_000, 0.0, 1.0, ZoneInfo("Europe/Helsinki"))
        >>> [label for _, label in axis.ticks()]
        ['10:00', '12:00', '14:00']
        """
        span_min = (self.end - self.start) / MINUTE_MS
        step = next((s for s in _STEPS_MIN if span_min / s < most), _STEPS_MIN[-1])
        if span_min / step >= most:
            step *= int(span_min / step / most) + 1
        local = datetime.fromtimestamp(self.start / SECOND_MS, self.zone)
        # Walk local wall time, so that labels stay round in every zone and over a change of the clocks.
        wall = local.replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0)
        days = self.end - self.start > 30 * HOUR_MS
        while True:
            moment = round(wall.replace(tzinfo=self.zone).timestamp() * SECOND_MS)
            if moment > self.end:
                return
            if moment >= self.start:
                yield moment, _label(wall, days)
            wall += timedelta(minutes=step)


def _label(wall: datetime, days: bool) -> str:
    if days and wall.hour == 0:
        return f"{wall:%a}"
    return f"{wall:%a %H}h" if days else f"{wall:%H:%M}"


@dataclass(frozen=True)
class ValueAxis:
    """Values from `low` at the picture's `bottom` to `high` at its `top`. Never of no length."""

    low: float
    high: float
    bottom: float
    top: float

    def __post_init__(self) -> None:
        if not self.high > self.low:
            raise ValueError(f"a value axis must end above where it starts, not {self.high} over {self.low}")

    def y(self, value: float) -> float:
        """Where a value falls; beyond the ends it stays at the end.

        >>> axis = ValueAxis(0.0, 1.0, 100.0, 0.0)
        >>> axis.y(0.25), axis.y(3.0)
        (75.0, 0.0)
        """
        inside = min(max(value, self.low), self.high)
        return self.bottom + (inside - self.low) / (self.high - self.low) * (self.top - self.bottom)


def round_range(values: list[float], step: float) -> tuple[float, float]:
    """The values' range widened to whole steps, at least two steps high.

    >>> round_range([18.2, 19.7], 2.0), round_range([20.0], 2.0)
    ((18.0, 22.0), (20.0, 24.0))
    """
    low = min(values) // step * step
    high = -(-max(values) // step) * step
    return low, max(high, low + 2 * step)
