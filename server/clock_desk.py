"""Has a node whose clock is wrong left out of its place's air, and taken in again once it is right."""

from dataclasses import dataclass, field

from sensors.clock import MINUTE_MS, Millis
from sensors.node_watch import clock_behind, right_since, silent_since, wrong_since
from server.parts import Parts
from server.store.last_words import air_nodes, last_words
from server.store.wrong_clocks import begin_wrong_clock, end_wrong_clock, wrong_clocks

LOOK_EVERY_MS = MINUTE_MS
"""It asks the store for more than each tick should [ms of shop time]."""


@dataclass
class ClockDesk:
    """Looks at what nodes said last and when that came, now and then.

    The only node that tells of a place's air counts whatever its clock: its figures are right and taken for
    older than they are, where without them nothing would be known at all.
    """

    parts: Parts
    _looked_at: Millis | None = field(default=None, init=False)

    def look(self, now: Millis) -> None:
        """At shop time `now` [ms]: leave nodes out, and take them in again."""
        if self._looked_at is not None and abs(now - self._looked_at) < LOOK_EVERY_MS:
            return
        self._looked_at = now
        engine, rate = self.parts.engine, self.parts.clock.rate
        words, tell_air = last_words(engine), air_nodes(engine)
        out = {(one.place, one.node) for one in wrong_clocks(engine) if one.until is None}
        behind = {who for who, said in words.items() if clock_behind(said, rate) is not None}
        heard = {who for who in tell_air - behind if who in words and silent_since(words[who], now) is None}
        changed = set()
        for place, node in sorted(words):
            said = words[place, node]
            beside = any(other[0] == place and other[1] != node for other in heard)
            if (place, node) in out:
                # Right again, or the only one that is left: what it said last counts.
                counts_from = right_since(said, rate) if beside else said[0][0]
                if counts_from is not None:
                    end_wrong_clock(engine, place, node, counts_from)
                    changed.add(place)
            elif (place, node) in behind and beside:
                begin_wrong_clock(engine, place, node, wrong_since(said, rate))
                changed.add(place)
        for place in sorted(changed):
            self.parts.rack.calibrated(place)
