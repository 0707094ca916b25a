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
    """A reading was heard that may make a tree fit: forecasts, which may wait, give way to the next look.

    That is the first in a block of its node, by its own time: up to there the air is known by it.
    """
    _readings: list[Reading] = field(default_factory=list)
    _lock: Lock = field(default_factory=Lock)
    _arrived: Millis = 0
    _blocks: dict[tuple[str, str, str], Millis] = field(default_factory=dict)
    """The newest block that each quantity of a node was heard in, by place, node and name [blocks]."""

    def add(self, readings: Sequence[Reading], arrived: Millis) -> None:
        """Take note of readings that came at `arrived` [ms], which rises from one call to the next."""
        with self._lock:
            self._readings.extend(readings)
            self._arrived = max(self._arrived, arrived)
            for reading in readings:
                what, block = (reading.place, reading.node, reading.name), reading.time // BLOCK_MS
                if block > self._blocks.get(what, -1):
                    self._blocks[what] = block
                    self.pressing.set()

    def take(self) -> tuple[list[Reading], Millis]:
        """What was heard since the last time, and when the latest of all came [ms]; nothing presses then."""
        with self._lock:
            readings, self._readings = self._readings, []
            self.pressing.clear()
            return readings, self._arrived
