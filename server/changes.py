"""What changed on the rack, on a tree or in the air, told at once to every page that is being looked at.

Nobody asks again and again: whoever changes the picture says so here, once, and each page's stream is woken.
What is told is no more than that something changed (a revision and when), so a page that missed ten changes
is told of one. A change is what a person could see: a forecast that moved by a minute is none.
"""

import asyncio
import hashlib
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from scheduler.forecast import Outlook, Quantiles
from sensors.clock import MINUTE_MS, Millis
from server.verdicts import TreeVerdict

MOST_VIEWERS = 200
"""So many pages are told at a time: each holds a connection open. A shop has a few; assumed."""

SEEN_STEP_MS = 5 * MINUTE_MS
"""A time that moved by less reads the same on the page, or nearly [ms]."""

RACK = "rack"
AIR = "air"


def tree_topic(tree_id: int) -> str:
    """The topic of one tree's page.

    >>> tree_topic(7)
    'trees/7'
    """
    return f"trees/{tree_id}"


class TooManyViewersError(Exception):
    """As many pages as are told at a time are told already."""


@dataclass(frozen=True)
class Change:
    """How a topic stands: its revision, another one after each change, and when it changed [shop ms]."""

    revision: str = ""
    at: Millis = 0


@dataclass(eq=False)
class Viewer:
    """One open page, waiting for changes of its topic within its event loop. Leave it when done."""

    topic: str
    _changes: "Changes"
    _loop: asyncio.AbstractEventLoop
    _woken: asyncio.Event = field(default_factory=asyncio.Event)
    ended: bool = False
    doubted: bool = False
    """Somebody may have been let out since: to be looked at before more is told."""

    def latest(self) -> Change:
        """How its topic stands now."""
        return self._changes.latest(self.topic)

    async def wait(self, longest_s: float) -> bool:
        """Wait until something may have changed: True; False where nothing did for so long [s]."""
        try:
            await asyncio.wait_for(self._woken.wait(), longest_s)
        except TimeoutError:
            return False
        self._woken.clear()
        return True

    def leave(self) -> None:
        """Tell this page no more."""
        self._changes.forget(self)

    def wake(self, *, end: bool = False, doubt: bool = False) -> None:
        """Have it look again; from any thread."""
        self.ended, self.doubted = self.ended or end, self.doubted or doubt
        try:
            self._loop.call_soon_threadsafe(self._woken.set)
        except RuntimeError:
            self.leave()  # its event loop is no more


class Changes:
    """Holds how each topic stands, and who is to be told. `now` tells shop time [ms]."""

    def __init__(self, now: Callable[[], Millis], most: int = MOST_VIEWERS) -> None:
        self._now = now
        self._most = most
        self._lock = threading.Lock()
        self._topics: dict[str, Change] = {}
        self._viewers: set[Viewer] = set()
        self._closed = False

    def join(self, topic: str) -> Viewer:
        """A viewer of a topic, within the running event loop. Raises TooManyViewersError."""
        viewer = Viewer(topic, self, asyncio.get_running_loop())
        with self._lock:
            if len(self._viewers) >= self._most:
                raise TooManyViewersError(f"{self._most} pages are told of changes at a time, and are now")
            viewer.ended = self._closed
            self._viewers.add(viewer)
        return viewer

    def viewers(self) -> int:
        """How many pages are told now."""
        return len(self._viewers)

    def latest(self, topic: str) -> Change:
        """How a topic stands; of a tree that is not on the rack: never changed."""
        return self._topics.get(topic, Change())

    def shown(self, picture: Mapping[int, TreeVerdict]) -> None:
        """The rack's picture is this now; who sees a change in it is told. From any thread."""
        marks = {tree_topic(tree_id): mark_of(verdict) for tree_id, verdict in sorted(picture.items())}
        marks[RACK] = _mark(sorted(repr(_seen(verdict.outlook)) for verdict in picture.values()))
        with self._lock:
            at = self._now()
            gone = {topic for topic in self._topics if topic not in marks and topic != AIR}
            marks |= dict.fromkeys(gone, "gone")
            changed = {topic: mark for topic, mark in marks.items() if self.latest(topic).revision != mark}
            self._topics |= {topic: Change(mark, at) for topic, mark in changed.items()}
            told = [viewer for viewer in self._viewers if viewer.topic in changed]
        for viewer in told:
            viewer.wake()

    def air_heard(self, arrived: Millis) -> None:
        """Readings came at `arrived` [shop ms] and are kept. From any thread."""
        with self._lock:
            self._topics[AIR] = Change(str(arrived), self._now())
            told = [viewer for viewer in self._viewers if viewer.topic == AIR]
        for viewer in told:
            viewer.wake()

    def doubt(self) -> None:
        """A device or a program was let out: every stream looks whether it still may. From any thread."""
        with self._lock:
            viewers = list(self._viewers)
        for viewer in viewers:
            viewer.wake(doubt=True)

    def close(self) -> None:
        """End every stream, for the service ends; who comes later ends at once as well. From any thread."""
        with self._lock:
            self._closed = True
            viewers = list(self._viewers)
        for viewer in viewers:
            viewer.wake(end=True)

    def forget(self, viewer: Viewer) -> None:
        """Tell a viewer no more; once more changes nothing."""
        with self._lock:
            self._viewers.discard(viewer)


def mark_of(verdict: TreeVerdict) -> str:
    """A short mark of what a tree's page shows of a verdict: the same mark, the same page (nearly)."""
    spots = [
        (spot.code, spot.name, round(spot.remaining, 2), spot.fit, _steps(spot.fit_at))
        for spot in verdict.spots
    ]
    coats = [(coat.dip_id, coat.dipped_at, _steps(coat.fit_at), coat.warnings) for coat in verdict.coats]
    return _mark([repr((_seen(verdict.outlook), spots, coats, verdict.warnings))])


def _seen(outlook: Outlook) -> Outlook:
    """An outlook as coarse as a person sees it; up to when the air is known is not seen at all."""
    remaining = None if outlook.remaining is None else round(outlook.remaining, 2)
    return replace(outlook, as_of=0, fit_at=_steps(outlook.fit_at), remaining=remaining)


def _steps(when: Quantiles) -> Quantiles:
    return Quantiles(_step(when.p10), _step(when.p50), _step(when.p90))


def _step(moment: Millis | None) -> Millis | None:
    return None if moment is None else round(moment / SEEN_STEP_MS) * SEEN_STEP_MS


def _mark(said: list[str]) -> str:
    return hashlib.blake2b("\n".join(said).encode(), digest_size=6).hexdigest()
