"""Where the reminders' notices go: into the store's outbox, each once, with a word to whoever listens."""

from collections.abc import Callable, Mapping, Sequence

from scheduler.ledger import Held, PutOff, Settlement, Words
from sensors.clock import Millis
from server.store import held_notices, notices, put_off
from server.store.engine import Engine
from server.store.values import KeptNotice


class NoticeLedger:
    """Remembers notices for good (a `scheduler.ledger.Ledger`).

    `on_new` hears of each message as it is told, once it is on the disk: the demo writes them to the
    terminal, and the outbox is told to look. If the machine stops between the two, a message is kept and sent
    all the same, only unheard of here.
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
        """The keys of what a person was told of a tree, each with the shop time of its cause [ms]."""
        return held_notices.told(self._engine, tree_id)

    def held(self) -> Sequence[Held]:
        """What is kept and neither told nor over, in the order in which it was kept."""
        return held_notices.held(self._engine)

    def last_told(self) -> Mapping[str, Millis]:
        """For each cause the shop time at which a notice of it was last told [ms]."""
        return held_notices.last_told(self._engine)

    def put_offs(self) -> Mapping[int, PutOff]:
        """What was put off last of each tree that ever was."""
        return put_off.put_offs(self._engine)

    def settle(self, settlement: Settlement, words: Words, now: Millis) -> int:
        """Keep what one look came to, at shop time `now` [ms]; returns how many notices were new."""
        new, told = held_notices.settle(self._engine, settlement, words, now, self._wall_clock())
        if told is not None:
            self._on_new(notices.notice(self._engine, told))
        return new
