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

    def response(self, now: Millis) -> Response:
        """The page, shown at `now` [ms]."""
        html = b"".join((self.before, _as_of(now), self.after))
        return HTMLResponse(html, headers={"Cache-Control": "no-store"})


class KeptRack:
    """The rack's page over these parts, for each place that is asked for."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = Lock()
        self._made: dict[str, _Made] = {}

    def show(self, place: str = "") -> Response:
        """The page as it stands, or of what hangs at one place, by its id."""
        now = self._parts.clock.now()
        stand = self._stand(now)
        return self._kept(place, stand, now) or self._anew(place, stand, now)

    def shown(self, place: str = "") -> Response | None:
        """The page where it is kept as it stands, without a wait for the store; None where it is not."""
        now = self._parts.clock.now()
        return self._kept(place, self._stand(now), now)

    def _stand(self, now: Millis) -> _Stand:
        parts = self._parts
        return _Stand(
            tuple(parts.rack.outlooks()),
            now // MINUTE_MS,
            revision_of(parts.engine, *RACK_TABLES),
            parts.not_kept(),
        )

    def _kept(self, place: str, stand: _Stand, now: Millis) -> Response | None:
        made = self._made.get(place)
        kept = made is not None and made.stand == stand and stand.revision is not None
        return made.response(now) if made is not None and kept else None

    def _anew(self, place: str, stand: _Stand, now: Millis) -> Response:
        page = rack_page(self._parts, place)
        if not page.sections and not page.first:
            return show(page)  # what it says to do first hangs on more than what is compared here
        made = _made(stand, page)
        with self._lock:
            if len(self._made) >= MOST_KEPT:
                self._made.clear()
            self._made[place] = made
        return made.response(now)


def _made(stand: _Stand, page: RackPage) -> _Made:
    before, _, after = bytes(show(page).body).partition(_as_of(page.frame.as_of))
    return _Made(stand, before, after)


def _as_of(moment: Millis) -> bytes:
    """How the page bears its time, from which it counts on by itself: told anew each time it is shown."""
    return b'data-as-of="%d"' % moment
