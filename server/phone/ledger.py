"""Where the reminders' notices go: into the store's outbox, each once, with a word to whoever listens."""

from collections.abc import Callable, Mapping, Sequence

from scheduler.forecast import Notice
from sensors.clock import Millis
from server.store import notices as kept_notices
from server.store.engine import Engine
from server.store.values import KeptNotice


class NoticeLedger:
    """Remembers notices for good (a `scheduler.forecast.Ledger`).

    `on_new` hears of each notice that was new, in the order in which they were kept, once it is on the
    disk: the demo writes them to the terminal, and the outbox is told to look. If the machine stops
    between the two, a notice is kept and sent all the same, only unheard of here.
    """

    def __init__(
        self,
        engine: Engine,
        wall_clock: Callable[[], Millis],
        on_new: Callable[[KeptNotice], None] = lambda _notice: None,
    ) -> None:
        self._engine = engine
        self._wall_clock = wall_clock
        self._on_new = on_new

    def told(self, tree_id: int) -> Mapping[str, Millis]:
        """The keys of what was kept of a tree, each with the shop time of its cause [ms]."""
        return kept_notices.told(self._engine, tree_id)

    def remember(self, notices: Sequence[Notice]) -> int:
        """Keep those whose key is new, at once or not at all; returns how many were new."""
        new = kept_notices.remember(self._engine, notices, self._wall_clock())
        if new:
            for notice in reversed(kept_notices.notices(self._engine, limit=new)):
                self._on_new(notice)
        return new
