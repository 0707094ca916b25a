"""Presses of a button at the rack: each logs the next coat of the tree on its hook, once.

The press is the caster's act: the coat is on, fit or not, and a tree that was not fit has that in its
record. What cannot have been is kept out, with its reason.
"""

import asyncio
import json
import logging
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from sensors.clock import MINUTE_MS, Millis, format_time
from sensors.reading import Press, Rejected
from sensors.topics import Topic, quoted
from server.dipping import Refusal, decide
from server.parts import Parts
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.values import NewDip, Tree

TWICE_MS = 5 * MINUTE_MS
"""Presses for one tree closer than this are one dip pressed twice: no coat dries in that time; assumed."""

log = logging.getLogger("slowcorner.presses")


class PressDesk:
    """Takes presses one after the other, in a thread of its own; close it to end that."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="slowcorner-presses")
        self._refreshing: set[asyncio.Future[None]] = set()

    async def take(self, presses: Sequence[Press]) -> tuple[Rejected, ...]:
        """Write the dips down; done when they are on the disk. Those that cannot be come back with reasons.

        Raises StoreError where the store fails; what was pressed is then to be sent again.
        """
        loop = asyncio.get_running_loop()
        rejected = []
        for press in presses:
            outcome = await loop.run_in_executor(self._thread, take_press, self._parts, press)
            if isinstance(outcome, str):
                rejected.append(_rejected(press, outcome, self._parts.clock.now()))
            elif outcome is not None:
                self._refresh(outcome)
        return tuple(rejected)

    async def close(self) -> None:
        """Finish what is being judged anew, and end the thread."""
        if self._refreshing:
            await asyncio.wait(self._refreshing)
        self._thread.shutdown()

    def _refresh(self, tree_id: int) -> None:
        # Not waited for: the dip is on the disk, and judging may take longer than a node waits.
        refreshing = asyncio.ensure_future(asyncio.to_thread(self._parts.rack.refresh, tree_id))
        self._refreshing.add(refreshing)
        refreshing.add_done_callback(self._refreshed)

    def _refreshed(self, refreshing: asyncio.Future[None]) -> None:
        self._refreshing.discard(refreshing)
        if not refreshing.cancelled() and (error := refreshing.exception()) is not None:
            log.error("A tree could not be judged after its button was pressed", exc_info=error)


def take_press(parts: Parts, press: Press) -> int | str | None:
    """Log the dip of one press: the tree's id; None where the press was logged before; or why it cannot be.

    A press is known by its node and its id, whichever tree hangs on the hook by now.
    """
    key = f"press {press.place}/{press.node}/{press.id}"
    with parts.one_dip_at_a_time:
        if dip_store.said_under(parts.engine, key):
            return None
        hook = quoted(press.hook)
        tree = next((one for one in tree_store.rack(parts.engine) if one.hook == press.hook), None)
        if tree is None:
            return f"no tree hangs on hook {hook}: its dip was not logged"
        refusal = _refusal(parts, tree, press)
        if refusal is not None:
            return f"hook {hook}: {refusal}"
        note = f"by the button {press.place}/{press.node}"
        new = NewDip(tree.id, press.time, parts.clock.now(), note=note, key=key)
        dip_store.add_dip(parts.engine, new)
        return tree.id


def _refusal(parts: Parts, tree: Tree, press: Press) -> str | None:
    standing = dip_store.dips(parts.engine, tree.id)
    if press.time < tree.created_at:
        hung, pressed = format_time(tree.created_at), format_time(press.time)
        return f"{tree.label} was put on the rack at {hung}, after the press at {pressed}"
    if standing and 0 <= press.time - standing[-1].at < TWICE_MS:
        before_s = (press.time - standing[-1].at) // 1000
        return (
            f"coat {len(standing)} of {tree.label} was logged {before_s} s before; "
            f"a press within {TWICE_MS // MINUTE_MS} min of it is taken for the same dip"
        )
    answer = decide(tree, standing, None, press.time, parts.clock.now(), confirm=True)
    return answer.reason if isinstance(answer, Refusal) else None


def _rejected(press: Press, reason: str, arrived: Millis) -> Rejected:
    said = {"hook": press.hook, "id": press.id, "t": press.time / 1000}
    topic = str(Topic(press.place, press.node, "dipped"))
    return Rejected(topic, reason, json.dumps(said).encode(), arrived)
