"""What the nodes of one place said over a stretch of time, as arrays: what faults are looked for in."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.clock import MINUTE_MS, Millis
from sensors.humid_air import vapour_pressure_pa

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

STEP_MS = 5 * MINUTE_MS
"""The grid on which nodes are held beside each other, aligned to UTC [ms]."""

USUAL_TEMP_ERROR_C = 0.3
USUAL_RH_ERROR_PCT = 3.0
"""The error that a usual digital sensor's data sheet allows it in a room [K, %RH]; from memory."""


@dataclass(frozen=True)
class Said:
    """What a node said of one quantity: times [ms], rising, and values."""

    times: Times
    values: Floats


@dataclass(frozen=True)
class Stated:
    """A node's stated errors [K, %RH]."""

    temp_error_c: float = USUAL_TEMP_ERROR_C
    rh_error_pct: float = USUAL_RH_ERROR_PCT


@dataclass(frozen=True)
class NodeTrace:
    """What a node said of temperature [°C] and humidity [%RH]."""

    temperature: Said
    humidity: Said
    stated: Stated = Stated()

    @property
    def last(self) -> Millis:
        """The time of its last word [ms], 0 before the first."""
        said = (self.temperature, self.humidity)
        return max((int(one.times[-1]) for one in said if len(one.times)), default=0)


@dataclass(frozen=True)
class Grid:
    """The nodes beside each other: (N, G) arrays, NaN where a node is not known.

    times: (G,) [ms]. temp_c [°C], rh_pct [%RH], vapour_pa [Pa].
    """

    nodes: tuple[str, ...]
    times: Times
    temp_c: Floats
    rh_pct: Floats
    vapour_pa: Floats


def on_grid(traces: Mapping[str, NodeTrace], start: Millis, end: Millis, gap_limit: Millis) -> Grid:
    """The traces at every step of [start, end], on straight lines between readings up to `gap_limit` apart.

    A node counts where it told both quantities.
    """
    nodes = tuple(sorted(traces))
    first = -(-start // STEP_MS) * STEP_MS
    times = np.arange(first, end + 1, STEP_MS, dtype=np.int64)
    temp = np.full((len(nodes), len(times)), np.nan)
    rh = np.full_like(temp, np.nan)
    for row, node in enumerate(nodes):
        temp[row] = _at(traces[node].temperature, times, gap_limit)
        rh[row] = _at(traces[node].humidity, times, gap_limit)
    unknown = np.isnan(temp) | np.isnan(rh)
    temp[unknown] = rh[unknown] = np.nan
    vapour = np.full_like(temp, np.nan)
    vapour[~unknown] = vapour_pressure_pa(temp[~unknown], rh[~unknown])
    return Grid(nodes, times, temp, rh, vapour)


def _at(said: Said, times: Times, gap_limit: Millis) -> Floats:
    """Values on straight lines at those times, NaN outside what is known."""
    found = np.full(len(times), np.nan)
    if not len(said.times) or not len(times):
        return found
    after = np.searchsorted(said.times, times, side="right")
    before = after - 1
    exact = before >= 0
    exact[exact] = said.times[before[exact]] == times[exact]
    found[exact] = said.values[before[exact]]
    between = (before >= 0) & (after < len(said.times)) & ~exact
    low, high = before[between], after[between]
    width = said.times[high] - said.times[low]
    near = width <= gap_limit
    share = (times[between] - said.times[low]) / width
    values = said.values[low] + (said.values[high] - said.values[low]) * share
    found[between] = np.where(near, values, np.nan)
    return found
