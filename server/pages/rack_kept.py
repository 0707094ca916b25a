"""The rack's page as it was made last, shown again until something on it would read otherwise.

It is what is looked at most, by every open phone at every change, while the judge is at work beside it.
"""

from dataclasses import dataclass
from threading import Lock

from fastapi.responses import HTMLResponse, Response

from scheduler.forecast import Outlook
from sensors.clock import MINUTE_MS, Millis
from server.pages.rack import rack_page
from server.pages.rack_contexts import RackPage
from server.pages.render import show
from server.parts import Parts
from server.store.revisions import revision_of
from server.store.trees import RACK_TABLES

MOST_KEPT = 20
"""So many places are shown at once; with more all are made anew. A shop has a few (assumed)."""


@dataclass(frozen=True)
class _Stand:
    """All that the page is made from: equal ones, equal pages, but for the time that it bears."""

    outlooks: tuple[Outlook, ...]
    minute: Millis
    revision: tuple[int, ...] | None
    not_kept: str


@dataclass(frozen=True)
class _Made:
    stand: _Stand
    before: bytes
    after: bytes


class KeptRack:
    """The rack's page over these parts, for each place that is asked for."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = Lock()
        self._made: dict[str, _Made] = {}

    def show(self, place: str = "") -> Response:
        """The page as it stands, or of what hangs at one place, by its id."""
        parts, now = self._parts, self._parts.clock.now()
        stand = _Stand(
            tuple(parts.rack.outlooks()),
            now // MINUTE_MS,
            revision_of(parts.engine, *RACK_TABLES),
            parts.not_kept(),
        )
        made = self._made.get(place)
        if made is None or made.stand != stand or stand.revision is None:
            page = rack_page(parts, place)
            if not page.sections and not page.first:
                return show(page)  # what it says to do first hangs on more than what is compared here
            made = _made(stand, page)
            with self._lock:
                if len(self._made) >= MOST_KEPT:
                    self._made.clear()
                self._made[place] = made
        html = b"".join((made.before, _as_of(now), made.after))
        return HTMLResponse(html, headers={"Cache-Control": "no-store"})


def _made(stand: _Stand, page: RackPage) -> _Made:
    before, _, after = bytes(show(page).body).partition(_as_of(page.frame.as_of))
    return _Made(stand, before, after)


def _as_of(moment: Millis) -> bytes:
    """How the page bears its time, from which it counts on by itself: told anew each time it is shown."""
    return b'data-as-of="%d"' % moment
