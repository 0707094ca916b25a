"""Readings that are committed and wait for the next look of the judging thread."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from threading import Event, Lock

from sensors.air import BLOCK_MS
from sensors.clock import Millis
from sensors.reading import Reading


@dataclass
class Heard:
    """One thread adds, in the order of the commits; the judging thread takes."""

    pressing: Event = field(default_factory=Event)
    """A reading was heard that may make a tree fit: forecasts, which may wait, give way to the next look."""
    _readings: list[Reading] = field(default_factory=list)
    _lock: Lock = field(default_factory=Lock)
    _arrived: Millis = 0
    _block_ends: Millis = 0

    def add(self, readings: Sequence[Reading], arrived: Millis) -> None:
        """Take note of readings that came at `arrived` [ms], which rises from one call to the next."""
        with self._lock:
            self._readings.extend(readings)
            self._arrived = max(self._arrived, arrived)
            if any(reading.time >= self._block_ends for reading in readings):
                self.pressing.set()

    def take(self, now: Millis) -> tuple[list[Reading], Millis]:
        """What was heard since the last time, and when the latest of all came [ms]; nothing presses then."""
        with self._lock:
            readings, self._readings = self._readings, []
            self.pressing.clear()
            self._block_ends = (now // BLOCK_MS + 1) * BLOCK_MS
            return readings, self._arrived
