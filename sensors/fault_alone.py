"""What a node's own words betray: figures no shop has, air that jumps, one figure for days.

The figures are assumed, unless a source is named beside them.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.faults import Fault
from sensors.traces import NodeTrace, Said

Flags = NDArray[np.bool_]
Run = tuple[Millis, Millis]

LOWEST_TEMP_C, HIGHEST_TEMP_C, LOWEST_RH_PCT = -20.0, 60.0, 0.5
"""Outside these no shop is; a broken humidity sensor often says exactly 0 %RH (from memory)."""

SATURATED_PCT = 99.5
SATURATED_ALONE_MS = 12 * HOUR_MS
"""So long at 100 %RH is water on the sensor, or air in which nothing can be judged anyway [ms]."""

STUCK_ALONE_MS = 48 * HOUR_MS
"""Temperature and humidity both at one figure for two days and nights [ms]."""

JUMP_C, JUMP_PCT = 5.0, 15.0
JUMP_MS, BACK_MS = 10 * MINUTE_MS, 20 * MINUTE_MS
"""Between two readings this near so much is a jump, and one there and back in so long is no air [ms]: a door
or a kettle moves the air at once too, but not back."""


def alone(node: str, trace: NodeTrace, gap_limit: Millis) -> list[Fault]:
    """The faults that a node shows by itself. Readings further apart than `gap_limit` [ms] are not joined."""
    temperature, humidity = trace.temperature, trace.humidity
    found = _out_of_range(node, temperature, LOWEST_TEMP_C, HIGHEST_TEMP_C, gap_limit)
    found += _out_of_range(node, humidity, LOWEST_RH_PCT, np.inf, gap_limit)
    found += _jumping(node, temperature, JUMP_C) + _jumping(node, humidity, JUMP_PCT)
    wet = _runs(humidity, humidity.values >= SATURATED_PCT, gap_limit)
    found += [Fault(node, "saturated", *run) for run in wet if run[1] - run[0] >= SATURATED_ALONE_MS]
    both = _intersected(*(_constant(said, STUCK_ALONE_MS, gap_limit) for said in (temperature, humidity)))
    found += [Fault(node, "stuck", *run) for run in both if run[1] - run[0] >= STUCK_ALONE_MS]
    return found


def stretches(holds: Flags) -> list[tuple[int, int]]:
    """First and last index of each run of True.

    >>> stretches(np.array([True, True, False, True]))
    [(0, 1), (3, 3)]
    """
    edges = np.diff(np.concatenate(([0], holds.astype(np.int8), [0])))
    firsts, ends = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    return list(zip(firsts.tolist(), (ends - 1).tolist(), strict=True))


def _out_of_range(node: str, said: Said, lowest: float, highest: float, gap_limit: Millis) -> list[Fault]:
    """Each bad reading, with the lines to it from the reading before and on to the next."""
    found = []
    last = len(said.times) - 1
    for at in np.nonzero((said.values < lowest) | (said.values > highest))[0].tolist():
        start = end = int(said.times[at])
        if at and start - said.times[at - 1] <= gap_limit:
            start = int(said.times[at - 1]) + 1
        if at < last and said.times[at + 1] - end <= gap_limit:
            end = int(said.times[at + 1]) - 1
        found.append(Fault(node, "out of range", start, end + 1))
    return found


def _jumping(node: str, said: Said, jump: float) -> list[Fault]:
    """There and back again faster than air can."""
    found: list[Fault] = []
    if len(said.values) < 3:
        return found
    steps, gaps = np.diff(said.values), np.diff(said.times)
    (at,) = np.nonzero((np.abs(steps) > jump) & (gaps <= JUMP_MS))
    for one, following in pairwise(at.tolist()):
        away, back = int(said.times[one + 1]), int(said.times[following + 1])
        if steps[one] * steps[following] < 0.0 and back - away <= BACK_MS:
            found.append(Fault(node, "jumping", int(said.times[one]) + 1, back))
    return found


def _constant(said: Said, least: Millis, gap_limit: Millis) -> list[Run]:
    """Stretches of at least so long [ms] over which every reading was the same figure."""
    if len(said.values) < 2:
        return []
    same = (np.diff(said.values) == 0.0) & (np.diff(said.times) <= gap_limit)
    runs = [(int(said.times[first]), int(said.times[last + 1]) + 1) for first, last in stretches(same)]
    return [run for run in runs if run[1] - run[0] >= least]


def _runs(said: Said, holds: Flags, gap_limit: Millis) -> list[Run]:
    found = []
    for first, last in stretches(holds):
        breaks = np.nonzero(np.diff(said.times[first : last + 1]) > gap_limit)[0] + 1
        for piece in np.split(said.times[first : last + 1], breaks):
            found.append((int(piece[0]), int(piece[-1]) + 1))
    return found


def _intersected(some: Sequence[Run], others: Sequence[Run]) -> list[Run]:
    return [(max(a, c), min(b, d)) for a, b in some for c, d in others if max(a, c) < min(b, d)]
