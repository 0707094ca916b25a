"""What its neighbours betray of a node: figures that stand still while theirs move, warmth that is its own.

The nodes of a place are held beside each other on a grid. Whoever a step shows to be at fault is taken off
the grid before the next, so that one bad node accuses nobody else. The figures are assumed, unless a source
is named beside them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.fault_alone import SATURATED_PCT, Flags, alone, stretches
from sensors.faults import REACH_MS, Fault, Kind, clipped, joined, opened
from sensors.humid_air import relative_humidity_pct
from sensors.traces import STEP_MS, Floats, Grid, NodeTrace, on_grid

SATURATED_MS = HOUR_MS
DAMP_PCT = 95.0
"""A neighbour under this is not in saturated air [%RH]."""

STUCK_MS = 6 * HOUR_MS
MOVED_C, MOVED_PCT = 2.0, 5.0
"""What neighbours must have moved while a node said one figure [K, %RH]: more than the coarsest step, 1."""

WARMED_C, SAME_VAPOUR = 2.5, 0.10
WARMED_MS = 30 * MINUTE_MS
"""Warmer than the others by so much, with their vapour to this share: warmed, and not wrong [K, -, ms]."""

APART_C, APART_PCT = 1.0, 4.0
"""Nodes of one place may differ by this much beyond their stated errors: air is not the same all over."""

AGREE_MS = HOUR_MS
"""A disagreement is one when it lasts on the mean over so long [ms]."""


def find_faults(
    traces: Mapping[str, NodeTrace], start: Millis, end: Millis, gap_limit: Millis
) -> list[Fault]:
    """Every fault of [start, end] in what the nodes of a place said, by node, kind and time.

    The traces must reach `REACH_MS` before `start`. A fault that holds at a node's last word goes on.
    """
    found = [fault for node in sorted(traces) for fault in alone(node, traces[node], gap_limit)]
    grid = on_grid(traces, start - REACH_MS, end, gap_limit)
    if len(grid.nodes) > 1 and grid.times.size:
        _take_off(grid, joined(found))
        apart = _still_or_wet(grid) + _warmed(grid)
        _take_off(grid, joined(apart))
        wrong = _disagreeing(grid, traces)
        _take_off(grid, joined(wrong))
        found += apart + wrong + _at_odds(grid, traces)
    return clipped(opened(joined(found), traces), start, None)


def _take_off(grid: Grid, faults: Iterable[Fault]) -> None:
    for one in faults:
        row = grid.nodes.index(one.node)
        within = (grid.times >= one.start) & ((one.end is None) | (grid.times < (one.end or 0)))
        for values in (grid.temp_c, grid.rh_pct, grid.vapour_pa):
            values[row, within] = np.nan


def _still_or_wet(grid: Grid) -> list[Fault]:
    found: list[Fault] = []
    for row, node in enumerate(grid.nodes):
        temp, rh, _ = _others(grid, row)
        wet = (grid.rh_pct[row] >= SATURATED_PCT) & (rh < DAMP_PCT)
        found += _lasting(grid, node, "saturated", wet, SATURATED_MS)
        still = _stuck(grid.temp_c[row], temp, MOVED_C) | _stuck(grid.rh_pct[row], rh, MOVED_PCT)
        found += _lasting(grid, node, "stuck", still, 0)
    return found


def _warmed(grid: Grid) -> list[Fault]:
    """Heat that is a node's own: the same vapour as the others have, in warmer air."""
    found: list[Fault] = []
    for row, node in enumerate(grid.nodes):
        temp, _, vapour = _others(grid, row)
        same = np.abs(grid.vapour_pa[row] / vapour - 1.0) < SAME_VAPOUR
        found += _lasting(grid, node, "warmed", (grid.temp_c[row] - temp > WARMED_C) & same, WARMED_MS)
    return found


def _disagreeing(grid: Grid, traces: Mapping[str, NodeTrace]) -> list[Fault]:
    """Against two others or more: the odd one is wrong."""
    found: list[Fault] = []
    for row, node in enumerate(grid.nodes):
        several = np.count_nonzero(~np.isnan(np.delete(grid.temp_c, row, axis=0)), axis=0) > 1
        found += _lasting(grid, node, "disagreeing", _away(grid, row, traces) & several, 0)
    return found


def _at_odds(grid: Grid, traces: Mapping[str, NodeTrace]) -> list[Fault]:
    """Two nodes that disagree with no third to judge: said once, of the first by name."""
    found: list[Fault] = []
    for row, node in enumerate(grid.nodes):
        away = _away(grid, row, traces)
        known = ~np.isnan(grid.temp_c)
        for other in range(row + 1, len(grid.nodes)):
            pair = away & known[other] & (np.count_nonzero(known, axis=0) == 2)
            found += [
                replace(one, beside=grid.nodes[other]) for one in _lasting(grid, node, "at odds", pair, 0)
            ]
    return found


def _away(grid: Grid, row: int, traces: Mapping[str, NodeTrace]) -> Flags:
    """Where a node is further from what most say than nodes may be from each other.

    Most: the median over all of them, itself too, so that one wrong node moves it least; of two the other.
    """
    known = ~np.isnan(grid.temp_c)
    several = np.count_nonzero(known, axis=0) > 2
    temp, _, vapour = _others(grid, row)
    temp[several] = _median(grid.temp_c[:, several])
    vapour[several] = _median(grid.vapour_pa[:, several])
    both = ~np.isnan(temp) & known[row]
    own, most = np.full(len(temp), np.nan), np.full(len(temp), np.nan)
    # Humidities beside each other at one temperature, so that a warm corner is not taken for a dry one.
    own[both] = relative_humidity_pct(temp[both], grid.vapour_pa[row][both])
    most[both] = relative_humidity_pct(temp[both], vapour[both])
    stated = [traces[node].stated for node in grid.nodes]
    others = [one for at, one in enumerate(stated) if at != row]
    far_c = APART_C + stated[row].temp_error_c + max(one.temp_error_c for one in others)
    far_pct = APART_PCT + stated[row].rh_error_pct + max(one.rh_error_pct for one in others)
    apart = np.abs(grid.temp_c[row] - temp)
    return _lastingly_over(apart, far_c) | _lastingly_over(np.abs(own - most), far_pct)


def _others(grid: Grid, row: int) -> tuple[Floats, Floats, Floats]:
    """The others' median temperature [°C], humidity at it [%RH] and vapour [Pa]; NaN where none is known."""
    temp = _median(np.delete(grid.temp_c, row, axis=0))
    vapour = _median(np.delete(grid.vapour_pa, row, axis=0))
    rh = np.full(len(temp), np.nan)
    known = ~np.isnan(temp)
    rh[known] = relative_humidity_pct(temp[known], vapour[known])
    return temp, rh, vapour


def _median(rows: Floats) -> Floats:
    """The median of the rows that are known at each step, NaN where none is."""
    if len(rows) == 1:
        return np.array(rows[0])
    ranked = np.sort(rows, axis=0)  # NaN comes last
    count = np.count_nonzero(~np.isnan(rows), axis=0)
    steps = np.arange(rows.shape[1])
    low, high = ranked[np.maximum(count - 1, 0) // 2, steps], ranked[count // 2, steps]
    return np.asarray(0.5 * (low + high))


def _lastingly_over(values: Floats, limit: float) -> Flags:
    """Steps in some window of `AGREE_MS` over which the mean, all of it known, is over the limit."""
    windows = _windows(values, AGREE_MS)
    return _covered(len(values), windows.mean(axis=1) > limit, AGREE_MS)


def _stuck(own: Floats, others: Floats, moved: float) -> Flags:
    """Steps in some window of `STUCK_MS` over which a node said one figure while the others moved."""
    own_windows, other_windows = _windows(own, STUCK_MS), _windows(others, STUCK_MS)
    still = own_windows.max(axis=1) == own_windows.min(axis=1)
    move = other_windows.max(axis=1) - other_windows.min(axis=1) >= moved
    return _covered(len(own), still & move, STUCK_MS)


def _windows(values: Floats, length: Millis) -> Floats:
    """Every window of that length: (count, steps), with no row where the grid is shorter."""
    wide = length // STEP_MS + 1
    return sliding_window_view(values, wide) if len(values) >= wide else np.empty((0, wide))


def _covered(count: int, windows: Flags, length: Millis) -> Flags:
    """The steps that lie in one of those windows."""
    wide = length // STEP_MS + 1
    edges = np.zeros(count + 1, dtype=np.int64)
    edges[: len(windows)] += windows
    edges[wide : wide + len(windows)] -= windows
    return np.asarray(np.cumsum(edges[:count]) > 0)


def _lasting(grid: Grid, node: str, kind: Kind, holds: Flags, least: Millis) -> list[Fault]:
    """Stretches of the grid over which something held for so long [ms]."""
    return [
        Fault(node, kind, int(grid.times[first]), int(grid.times[last]) + STEP_MS)
        for first, last in stretches(holds)
        if grid.times[last] - grid.times[first] >= least
    ]
