"""The air record of a place: what the air at the rack was, minute by minute, and where it is not known.

It is made of the readings of the place's nodes. A node's temperature and humidity are each joined by
straight lines between readings no further apart than the gap limit; a node counts in a minute when it has
both, unless it is at fault then (see `faults`). Each UTC minute is sampled at its middle. With several nodes
the minute's temperature and vapour pressure are the medians over them. A minute with no node is missing, and
an interval with a missing minute has no air.

All of it is a function of the set of readings, to the bit, whatever the order in which they came.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sensors.clock import MINUTE_MS, Millis
from sensors.fault_watch import FaultWatch
from sensors.fault_words import Beside, fault_words
from sensors.faults import REACH_MS, Fault
from sensors.humid_air import STANDARD_PRESSURE_PA, vapour_pressure_pa
from sensors.minutes import AIR_NAMES, HEARD_NAMES, MIDDLE_MS, Minute, NodeAir, mean_of, median, minutes
from sensors.reading import QUANTITIES, Reading
from sensors.series import Span, intersect
from sensors.traces import Stated

BLOCK_MS = 10 * MINUTE_MS
"""The step in which the judge goes through the record [ms]."""

GAP_LIMIT_MS = 90 * MINUTE_MS


@dataclass(frozen=True)
class Air:
    """Air as it is at the rack: temperature [°C], relative humidity [%], speed [m/s].

    temp_wide, rh_wide: how many times as wide as one good sensor's own the errors of the first two are [-]:
    more than 1 where nodes disagree, or where a gap was bridged. pressure_pa: of the air, by the shop's
    height above the sea [Pa].
    """

    temp_c: float
    rh_pct: float
    speed_m_s: float
    temp_wide: float = 1.0
    rh_wide: float = 1.0
    pressure_pa: float = STANDARD_PRESSURE_PA


class PlaceAir:
    """The air record of one place, which grows as readings come.

    `speed_m_s` is the air's speed at the rack where no node measures it [m/s], `pressure_pa` its pressure
    [Pa]. A `trusted` record is a person's own, and nothing in it is looked at for faults. Not for use by two
    threads at once.

    **What is known when.** Each quantity of each node is waited for: twice its own last spacing, at least
    five minutes and at most the gap limit, counted up to the place's newest reading. What is silent for
    longer holds nothing up. The record is known until the earliest last reading among those waited for.
    Should a silent node come back within the gap limit, or a reading come late, `add` says from when on the
    record may have changed.
    """

    def __init__(
        self,
        speed_m_s: float,
        gap_limit: Millis = GAP_LIMIT_MS,
        *,
        trusted: bool = False,
        pressure_pa: float = STANDARD_PRESSURE_PA,
    ) -> None:
        self._trusted = trusted
        self._pressure_pa = pressure_pa
        self._speed_m_s = speed_m_s
        self._gap_limit = gap_limit
        self._nodes: dict[str, NodeAir] = {}
        self._watch = FaultWatch(gap_limit)
        self._place: str | None = None

    @property
    def speed_m_s(self) -> float:
        """The air's speed where no node measures it [m/s]."""
        return self._speed_m_s

    @property
    def node_names(self) -> tuple[str, ...]:
        """The nodes that ever told of this air, in order."""
        return tuple(sorted(self._nodes))

    def add(self, readings: Iterable[Reading]) -> Millis | None:
        """Take readings in; other quantities, repeated ones and figures that cannot be change nothing.

        Returns the earliest time from which on the air may have changed [ms], None if none did.
        Raises ValueError when readings of two places are mixed.
        """
        earliest: Millis | None = None
        said: Millis | None = None
        for reading in readings:
            self._place = self._place or reading.place
            if reading.place != self._place:
                raise ValueError(
                    f"reading of place {reading.place!r} in the air record of {self._place!r}"
                    f" (node {reading.node!r}, {reading.name})"
                )
            if reading.name not in HEARD_NAMES:
                continue
            quantity = QUANTITIES[reading.name]
            if not quantity.lowest <= reading.value <= quantity.highest:
                continue
            node = self._node(reading.node)
            changed = node.series[reading.name].add(reading.time, reading.value)
            if changed is not None:
                node.heard.add(reading.name)
                changed -= changed % MINUTE_MS
                earliest = changed if earliest is None else min(earliest, changed)
                said = reading.time if said is None else min(said, reading.time)
        if earliest is None or said is None or self._trusted:
            return earliest
        other_nodes = self._watch.look(self._nodes, said, earliest)
        return earliest if other_nodes is None else min(earliest, other_nodes - other_nodes % MINUTE_MS)

    def state(self, node: str, stated: Stated) -> None:
        """Say a node's stated errors, before its first reading."""
        self._node(node).stated = stated

    def faults(self) -> tuple[Fault, ...]:
        """The faults of its nodes that are known, by node, kind and time."""
        return self._watch.faults

    def reason(self, fault: Fault) -> str:
        """Why that node is not believed, as it follows its name."""
        last = self._nodes[fault.node].newest
        until = last if fault.end is None else min(fault.end - 1, last)
        own = [self._nodes[fault.node].series[name].at((until,))[0] for name in AIR_NAMES]
        others = [
            [
                value
                for node in beside
                if (value := self._nodes[node].series[name].at((until,))[0]) is not None
            ]
            for beside in [[fault.beside] if fault.beside else self._others(fault.node, until)]
            for name in AIR_NAMES
        ]
        said = [median(values) if values else None for values in others]
        return fault_words(fault, Beside(own[0], own[1], said[0], said[1]), until)

    def _others(self, node: str, time: Millis) -> list[str]:
        return [
            name
            for name, other in self._nodes.items()
            if name != node and other.complete and self._watch.counts(name, time)
        ]

    def mean(self, start: Millis, end: Millis) -> Air | None:
        """Mean air over [start, end), None where it is not known all through.

        Minutes count by their share of the interval. Temperature and vapour pressure are averaged, and the
        humidity is that vapour pressure at that temperature, at most 100 %. Raises ValueError when the
        interval is empty.
        """
        if end <= start:
            raise ValueError(f"the interval from {start} to {end} is empty")
        first, last = start // MINUTE_MS, -(-end // MINUTE_MS)
        found = minutes(self._nodes, first, last, self._speed_m_s, self._watch.counts)
        if found is None:
            return None
        shares = [
            min(end, (first + i + 1) * MINUTE_MS) - max(start, (first + i) * MINUTE_MS)
            for i in range(last - first)
        ]
        return Air(*mean_of(found, shares), self._pressure_pa)

    def _node(self, name: str) -> NodeAir:
        return self._nodes.setdefault(name, NodeAir(self._gap_limit))

    def known_from(self) -> Millis | None:
        """Start of the first minute whose air is known [ms], None if there is none."""
        known = self._known()
        return known[0][0] * MINUTE_MS if known else None

    def known_until(self) -> Millis | None:
        """End of what is settled [ms], a full minute, None if no node has told temperature and humidity.

        It may step back a little when a node comes back that was not waited for any more.

        What is missing before it stays missing and what is known before it stays as it is, late readings and
        nodes that come back aside: see the class.
        """
        if not any(node.complete for node in self._nodes.values()):
            return None
        series = [node.series[name] for node in self._nodes.values() for name in node.heard]
        newest = max(one.last for one in series)
        until = min(one.last for one in series if newest - one.last <= one.patience)
        return until - until % MINUTE_MS

    def latest(self) -> tuple[Millis, Air] | None:
        """The newest air there is and its time [ms]: the medians of what the nodes said last.

        A node whose last word is older than the newest by more than the gap limit is left out.
        """
        told: list[tuple[Millis, float, float]] = []
        speeds: list[tuple[Millis, float]] = []
        for name in sorted(self._nodes):
            node = self._nodes[name]
            if "airspeed" in node.heard:
                gauge = node.series["airspeed"]
                speeds += [(gauge.last, speed) for speed in gauge.at((gauge.last,)) if speed is not None]
            if node.complete:
                last = min(node.series["temperature"].last, node.series["humidity"].last)
                temp = node.series["temperature"].at((last,))[0]
                humidity = node.series["humidity"].at((last,))[0]
                if temp is not None and humidity is not None and self._watch.counts(name, last):
                    told.append((last, temp, humidity))
        if not told:
            return None
        newest = max(last for last, _, _ in told)
        told = [one for one in told if newest - one[0] <= self._gap_limit]
        recent = [speed for last, speed in speeds if abs(newest - last) <= self._gap_limit]
        temps, humidities = [one[1] for one in told], [one[2] for one in told]
        vapour = median(vapour_pressure_pa(np.array(temps), np.array(humidities)).tolist())
        speed = median(recent) if recent else self._speed_m_s
        return newest, Air(*mean_of([Minute(median(temps), vapour, speed)], [1]), self._pressure_pa)

    def missing(self, start: Millis, end: Millis) -> tuple[Span, ...]:
        """The stretches (from, to) of [start, end) in which the air is not known [ms], in order."""
        gaps: list[Span] = []
        reached = start
        for first, last in self._known():
            if first * MINUTE_MS >= end:
                break
            if first * MINUTE_MS > reached:
                gaps.append((reached, first * MINUTE_MS))
            reached = max(reached, last * MINUTE_MS)
        if reached < end:
            gaps.append((reached, end))
        return tuple(gaps)

    def _known(self) -> list[tuple[int, int]]:
        """Runs of known minutes: the number of the first and of the one after the last, in order."""
        runs: list[tuple[int, int]] = []
        for name, node in self._nodes.items():
            for start, end in intersect(node.series["temperature"].spans(), node.series["humidity"].spans()):
                first, last = _first_middle(start), (end - MIDDLE_MS) // MINUTE_MS + 1
                runs += _without(first, last, self._watch.left_out(name))
        merged: list[tuple[int, int]] = []
        for first, last in sorted(runs):
            if merged and first <= merged[-1][1]:
                merged[-1] = (merged[-1][0], max(last, merged[-1][1]))
            else:
                merged.append((first, last))
        return merged

    def forget(self, before: Millis) -> None:
        """Let go of readings that no longer bear on that time and after."""
        for node in self._nodes.values():
            for name in node.heard:
                # Faults are looked for further back than the air is asked for.
                node.series[name].forget(before - 2 * REACH_MS - self._gap_limit)
        self._watch.forget(before)


def _first_middle(time: Millis) -> int:
    """The number of the first minute whose middle is then or later."""
    return -((MIDDLE_MS - time) // MINUTE_MS)


def _without(first: int, last: int, left_out: Iterable[Fault]) -> list[tuple[int, int]]:
    """The minutes from `first` to before `last` whose middles lie in none of the faults, as runs."""
    runs = []
    for fault in sorted(left_out, key=lambda fault: fault.start):
        begins = _first_middle(fault.start)
        if first < min(begins, last):
            runs.append((first, min(begins, last)))
        first = max(first, last if fault.end is None else _first_middle(fault.end))
    return [*runs, (first, last)] if first < last else runs
