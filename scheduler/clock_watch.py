"""Notices when the wall's clock leaps: the machine slept, or its clock was set."""

from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass
class ClockWatch:
    """Compares the wall's clock with one that only ever counts the seconds the machine was awake.

    Between two looks both move on alike; the wall runs ahead over a suspend, and leaps either way when
    the clock is set, as it is on a small machine that learns the time from the network some while after
    its start.

    >>> wall, awake = iter([100.0, 105.0, 3710.0]), iter([0.0, 5.0, 10.0])
    >>> watch = ClockWatch(wall=lambda: next(wall), awake=lambda: next(awake))
    >>> watch.leap_s(), watch.leap_s()
    (0.0, 3600.0)
    """

    wall: Callable[[], float]
    awake: Callable[[], float]
    least_s: float = 2.0
    """Leaps under this are the clock being kept in step, and are left out [s]."""

    _apart: float = field(init=False)

    def __post_init__(self) -> None:
        self._apart = self.wall() - self.awake()

    def leap_s(self) -> float:
        """By how much the wall's clock has leapt since the last look [s]; 0 where it has not."""
        apart = self.wall() - self.awake()
        leap = apart - self._apart
        self._apart = apart
        return leap if abs(leap) >= self.least_s else 0.0
