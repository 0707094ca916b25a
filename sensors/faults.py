"""When a node is not to be believed, and why: from what it and its neighbours said, and from nothing else.

Each rule is local: whether a node is at fault at a moment depends only on what was said within `REACH_MS` of
it, in whatever order that came. So a record that grows, one that is read again after a restart and one that
is replayed find the same faults, and a long record is looked through only where something is new.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from sensors.clock import HOUR_MS, Millis
from sensors.traces import NodeTrace

Kind = Literal["out of range", "saturated", "stuck", "jumping", "warmed", "disagreeing", "at odds"]
"""`warmed`: by itself or by the sun. `at odds`: two nodes disagree, and nobody can tell which is right."""

REACH_MS = 60 * HOUR_MS
"""No rule looks further than this from a moment [ms]: two days of one figure, then what neighbours say."""

WELL_MS = HOUR_MS
"""Two faults of one kind nearer than this are one: a node is well again when it was well for so long [ms]."""


@dataclass(frozen=True)
class Fault:
    """A node is not to be believed from `start` on, until before `end` [ms]; `end` None: still.

    beside: the other node where two are at odds, else "".
    """

    node: str
    kind: Kind
    start: Millis
    end: Millis | None
    beside: str = ""

    @property
    def leaves_out(self) -> bool:
        """Whether the node does not count meanwhile. Of two at odds both still do: either may be right."""
        return self.kind != "at odds"

    def holds(self, time: Millis) -> bool:
        """Whether it holds at a moment [ms]."""
        return self.start <= time and (self.end is None or time < self.end)


def joined(faults: Iterable[Fault]) -> list[Fault]:
    """Faults of one node and kind that are near each other as one, by node, kind and time.

    >>> hour = 3_600_000
    >>> joined([Fault("n1", "stuck", 0, hour), Fault("n1", "stuck", hour, None)])
    [Fault(node='n1', kind='stuck', start=0, end=None, beside='')]
    """
    whole: list[Fault] = []
    for one in sorted(faults, key=lambda one: (one.node, one.kind, one.beside, one.start)):
        before = whole[-1] if whole else None
        if (
            before is not None
            and (before.node, before.kind, before.beside) == (one.node, one.kind, one.beside)
            and (before.end is None or one.start - before.end < WELL_MS)
        ):
            ends = None if before.end is None or one.end is None else max(before.end, one.end)
            whole[-1] = replace(before, end=ends)
        else:
            whole.append(one)
    return whole


def clipped(faults: Iterable[Fault], start: Millis, end: Millis | None) -> list[Fault]:
    """What of the faults lies in [start, end); `end` None: up to the last."""
    inside = []
    for one in faults:
        begins = max(one.start, start)
        ends = one.end if end is None else end if one.end is None else min(one.end, end)
        if ends is None or ends > begins:
            inside.append(replace(one, start=begins, end=ends))
    return inside


def opened(faults: Iterable[Fault], traces: Mapping[str, NodeTrace]) -> list[Fault]:
    """The faults, with those that still held at their node's last word left open."""
    return [
        replace(one, end=None) if one.end is not None and one.end > traces[one.node].last else one
        for one in faults
    ]
