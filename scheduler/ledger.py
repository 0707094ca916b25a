"""What the reminders keep for good, and what they ask of whoever keeps it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from scheduler.forecast import Notice
from sensors.clock import Millis

Words = Callable[[Sequence[Notice]], tuple[str, str]]
"""Title and body of one message for several notices."""


@dataclass(frozen=True)
class Held:
    """A notice that is kept and was not told yet. `at` is the shop time of its cause [ms]."""

    key: str
    cause: str
    tree_id: int | None
    at: Millis


@dataclass(frozen=True)
class PutOff:
    """A reminder that was asked for. `dipped_at` names the coat that was on; `until` is when [shop ms]."""

    id: int
    tree_id: int
    dipped_at: Millis
    until: Millis


@dataclass(frozen=True)
class Settlement:
    """What one look at the rack comes to, to be kept whole or not at all.

    `new` are kept, held at first. Of what is held then, the keys in `moot` are over before they were told,
    and those in `tell`, with the words as they are now, go out in one message.
    """

    new: tuple[Notice, ...] = ()
    moot: frozenset[str] = frozenset()
    tell: tuple[Notice, ...] = ()


class Ledger(Protocol):
    """Remembers notices for good."""

    def told(self, tree_id: int) -> Mapping[str, Millis]:
        """The keys of what a person was told of a tree, each with the shop time of its cause [ms]."""
        ...

    def held(self) -> Sequence[Held]:
        """What is kept and neither told nor over, in the order in which it was kept."""
        ...

    def last_told(self) -> Mapping[str, Millis]:
        """For each cause the shop time at which a notice of it was last told [ms]."""
        ...

    def put_offs(self) -> Mapping[int, PutOff]:
        """What was put off last of each tree that ever was."""
        ...

    def settle(self, settlement: Settlement, words: Words, now: Millis) -> int:
        """Keep it all, at shop time `now` [ms]; returns how many notices were new.

        What is held or was told under its key is not new; what was moot is. Only what is held is told.
        """
        ...
