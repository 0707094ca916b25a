"""What is the matter with each node: what the air records find, and silence, clocks and batteries."""

from collections.abc import Sequence

from sensors.clock import DAY_MS
from sensors.node_watch import battery_words, behind_words, clock_behind, silent_since
from server.parts import Parts
from server.store import nodes as node_store
from server.store import readings as reading_store
from server.store.binned import Bin, binned
from server.store.last_words import last_words
from server.store.wrong_clocks import wrong_clocks
from server.verdicts import NodeFault

BATTERY_MS, BATTERY_STEP_MS = 14 * DAY_MS, DAY_MS // 4
"""How far back, and in what steps, a battery's course is looked at [ms]."""

CLOCKS_TOLD_MS = 14 * DAY_MS
"""For so long it is told that a clock was wrong [ms]: as long as the air's longest chart."""


def node_health(parts: Parts) -> Sequence[NodeFault]:
    """Every fault there is, the air's also where it is over, by place and node."""
    now = parts.clock.now()
    found = list(parts.rack.node_faults())
    settings = node_store.node_settings(parts.engine)
    batteries: dict[str, list[Bin]] = {}
    offline = {
        (node.place, node.node) for node in reading_store.nodes(parts.engine) if node.status == "offline"
    }
    clocks = wrong_clocks(parts.engine)
    wrong = {(one.place, one.node): one.since for one in clocks if one.until is None}
    found += [
        NodeFault(one.place, one.node, "clock off", one.since, one.until, "its clock was behind", True)
        for one in clocks
        if one.until is not None and one.until > now - CLOCKS_TOLD_MS
    ]
    for (place, node), words in last_words(parts.engine).items():
        since = silent_since(words, now)
        if since is not None:
            reason = (
                "has said that it is going, or its connection broke"
                if (place, node) in offline
                else "says nothing any more: look at its power and its Wi-Fi"
            )
            found.append(NodeFault(place, node, "silent", since, None, reason, left_out=True))
        else:
            behind = clock_behind(words, parts.clock.rate)
            if behind is not None:
                left_out = (place, node) in wrong
                what = (
                    "what it says would be taken for older than it is"
                    if left_out
                    else "what it says is taken for older than it is, and still counts"
                )
                reason = f"{behind_words(behind)}: {what}. Set its clock, or let it send no time of its own"
                start = wrong.get((place, node), words[0][0])
                found.append(NodeFault(place, node, "clock off", start, None, reason, left_out))
        own = settings.get((place, node))
        if place not in batteries:
            batteries[place] = binned(
                parts.engine, place, ("battery",), now - BATTERY_MS, now + 1, BATTERY_STEP_MS
            )
        battery = _battery(batteries[place], node, None if own is None else own.battery_low_v)
        if battery is not None:
            found.append(NodeFault(place, node, "low battery", now, None, battery, left_out=False))
    return sorted(found, key=lambda one: (one.place, one.node, one.start, one.kind))


def _battery(bins: Sequence[Bin], node: str, empty_v: float | None) -> str | None:
    course = [one for one in bins if one.node == node]
    if not course:
        return None
    # It comes in volts or in per cent; of a node that ever said both, the unit it said last.
    unit = course[-1].unit
    alike = [one for one in course if one.unit == unit]
    return battery_words([one.start for one in alike], [one.mean for one in alike], unit, empty_v)
