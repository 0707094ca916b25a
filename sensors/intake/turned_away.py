"""Tells of connections that were not let in, where a person sees it; of a flood of them in few words."""

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass

from sensors.clock import Clock
from sensors.intake.message import Message
from sensors.reading import Rejected

SOURCE = "MQTT listener"

TELL_EVERY_S = 60.0
"""How often at most each kind is told of [s]."""

log = logging.getLogger("slowcorner.mqtt")


@dataclass
class _Kind:
    """What came of a kind since it was told of last."""

    timer: asyncio.TimerHandle
    more: int = 0
    last: str = ""


class TurnedAway:
    """The first of a kind is told of at once, and what follows together, once in `every_s` [s].

    `deliver` takes what is told, as something kept out.
    """

    def __init__(
        self, deliver: Callable[[Message], object], clock: Clock, every_s: float = TELL_EVERY_S
    ) -> None:
        self._deliver = deliver
        self._clock = clock
        self._every_s = every_s
        self._kinds: dict[str, _Kind] = {}

    def tell(self, kind: str, what: str) -> None:
        """A connection was not let in; `kind` is what it is told together with."""
        log.info("%s", what)
        known = self._kinds.get(kind)
        if known is not None:
            known.more += 1
            known.last = what
            return
        self._kinds[kind] = _Kind(self._later(kind))
        self._say(what)

    def close(self) -> None:
        """Tell what is left."""
        for kind in list(self._kinds):
            known = self._kinds.pop(kind)
            known.timer.cancel()
            self._say_more(known)

    def _later(self, kind: str) -> asyncio.TimerHandle:
        return asyncio.get_running_loop().call_later(self._every_s, self._due, kind)

    def _due(self, kind: str) -> None:
        known = self._kinds.pop(kind)
        if known.more:
            self._kinds[kind] = _Kind(self._later(kind))
            self._say_more(known)

    def _say_more(self, known: _Kind) -> None:
        if known.more == 1:
            self._say(known.last)
        elif known.more:
            self._say(f"{known.more} more like it; the last: {known.last}")

    def _say(self, reason: str) -> None:
        log.warning("%s", reason)
        now = self._clock.now()
        self._deliver(Message(now, rejected=(Rejected(SOURCE, reason, b"", now),)))
