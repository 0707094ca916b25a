"""Tells a broker what is decided: each tree's state, retained, for whatever else in the shop wants to know.

The topic is `slowcorner/rack/<tree id>/state`, the payload the tree as GET /api/rack has it, in JSON.
A tree that leaves the rack leaves the broker too: its topic is emptied.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence

from scheduler.forecast import Outlook
from sensors.topics import RACK, ROOT
from server.api.rack import rack_tree

LOOK_EVERY_S = 1.0
"""How often it is looked whether something changed [s of the wall]."""

Send = Callable[[str, bytes], bool]
"""Publishes a payload under a topic, retained; False where the broker is not reached."""

log = logging.getLogger("slowcorner.mqtt")


class StatePublisher:
    """Publishes what changed of the trees that `outlooks` tells of.

    `anew` is to be called whenever a connection stands: all is published again, for the broker may have
    forgotten it. `held` is to be called with each topic of a state that the broker has from before.
    `wait` waits so many seconds.
    """

    def __init__(
        self,
        outlooks: Callable[[], Sequence[Outlook]],
        send: Send,
        wait: Callable[[float], Awaitable[object]] = asyncio.sleep,
    ) -> None:
        self._outlooks = outlooks
        self._send = send
        self._wait = wait
        self._said: dict[str, tuple[Outlook, bytes]] = {}

    def anew(self) -> None:
        """Publish every tree, whatever was said before."""
        self._said.clear()
        self.say()

    def held(self, topic: str) -> None:
        """The broker holds a state under this topic: empty it where no such tree is on the rack."""
        if topic not in {state_topic(outlook.tree_id) for outlook in self._outlooks()}:
            self._send(topic, b"")

    def say(self) -> None:
        """Publish what changed since it was last published."""
        now = {state_topic(outlook.tree_id): outlook for outlook in self._outlooks()}
        for topic, outlook in now.items():
            outlook_before, before = self._said.get(topic, (None, b""))
            if outlook is outlook_before:
                continue
            payload = rack_tree(outlook).model_dump_json().encode()
            if payload == before or self._send(topic, payload):
                self._said[topic] = (outlook, payload)
        for topic in self._said.keys() - now.keys():
            if self._send(topic, b""):
                del self._said[topic]

    async def run(self) -> None:
        """Look for changes until cancelled."""
        while True:
            try:
                self.say()
            except Exception:  # nodes' messages must not stop for what others are told
                log.exception("The trees' states could not be published")
            await self._wait(LOOK_EVERY_S)


def state_topic(tree_id: int) -> str:
    """Where a tree's state is published.

    >>> state_topic(7)
    'slowcorner/rack/7/state'
    """
    return f"{ROOT}/{RACK}/{tree_id}/state"
