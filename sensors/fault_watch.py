"""Keeps the faults of a place's nodes as its record grows, and says from when on they are others."""

from collections.abc import Mapping

import numpy as np

from sensors.clock import Millis
from sensors.fault_beside import find_faults
from sensors.faults import REACH_MS, Fault, clipped, joined
from sensors.minutes import AIR_NAMES, NodeAir
from sensors.traces import STEP_MS, NodeTrace, Said


class FaultWatch:
    """The faults of one place.

    What they are is a function of the set of readings up to the last whole step of the grid, see `faults`: so
    they are looked for once a step and not at every word.
    """

    def __init__(self, gap_limit: Millis) -> None:
        self._gap_limit = gap_limit
        self._faults: list[Fault] = []
        self._left_out: dict[str, list[Fault]] = {}
        self._looked: Millis | None = None
        self._waiting: Millis | None = None

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault that is known, by node, kind and time."""
        return tuple(self._faults)

    def counts(self, node: str, time: Millis) -> bool:
        """Whether a node counts at a moment [ms]."""
        return not any(fault.holds(time) for fault in self._left_out.get(node, ()))

    def left_out(self, node: str) -> list[Fault]:
        """The faults for which a node does not count."""
        return self._left_out.get(node, [])

    def look(self, nodes: Mapping[str, NodeAir], said: Millis, changed: Millis) -> Millis | None:
        """Look for faults after words of `said` and later came, and the air changed from `changed` on.

        Times in ms. Returns from when on other nodes count than before [ms], None where the same do.
        """
        newest = max((node.newest for node in nodes.values() if node.complete), default=None)
        self._waiting = changed if self._waiting is None else min(changed, self._waiting)
        if newest is None:
            return None
        end = newest - newest % STEP_MS
        if end == self._looked and said > end:
            return None
        start = self._waiting - REACH_MS
        # What was said in the step that is not over yet has to be looked at again.
        self._waiting = None if newest == end else end
        self._looked = end
        traces = {
            name: _trace(node, start - REACH_MS - self._gap_limit, end)
            for name, node in nodes.items()
            if node.complete
        }
        traces = {name: trace for name, trace in traces.items() if trace.last}
        # A node that was silent all that time keeps the fault with which it fell silent.
        silent = [one for one in self._faults if one.end is None and one.node not in traces]
        before = [one for one in self._faults if one not in silent]
        fresh = find_faults(traces, start, end, self._gap_limit) if traces else []
        old = self._faults
        self._faults = joined([*clipped(before, 0, start), *fresh, *silent])
        self._left_out = {}
        for one in self._faults:
            if one.leaves_out:
                self._left_out.setdefault(one.node, []).append(one)
        return _first_difference(old, self._faults)

    def forget(self, before: Millis) -> None:
        """Let go of faults that were over by then [ms]."""
        self._faults = [one for one in self._faults if one.end is None or one.end > before]
        self._left_out = {
            node: kept
            for node, faults in self._left_out.items()
            if (kept := [one for one in faults if one.end is None or one.end > before])
        }


def _trace(node: NodeAir, start: Millis, end: Millis) -> NodeTrace:
    said = []
    for name in AIR_NAMES:
        times, values = node.series[name].between(start, end)
        said.append(Said(np.array(times, dtype=np.int64), np.array(values, dtype=np.float64)))
    return NodeTrace(said[0], said[1], node.stated)


def _first_difference(old: list[Fault], new: list[Fault]) -> Millis | None:
    """The earliest moment at which a node counts by the one list and not by the other [ms]."""
    olds = {(one.node, one.kind, one.start): one for one in old if one.leaves_out}
    news = {(one.node, one.kind, one.start): one for one in new if one.leaves_out}
    moments: list[Millis] = []
    for key in olds.keys() | news.keys():
        was, now = olds.get(key), news.get(key)
        if was is None or now is None:
            moments.append(key[2])
        elif was.end != now.end:
            moments.append(min(end for end in (was.end, now.end) if end is not None))
    return min(moments, default=None)
