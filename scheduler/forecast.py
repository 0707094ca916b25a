"""What a judge says of a tree, in the words the whole program shares; and what the scheduler asks for."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from sensors.clock import Millis

State = Literal["new", "drying", "fit", "resting", "through", "unsure", "cleared", "scrapped"]
"""`new` no coat yet · `drying` · `fit` fit to dip · `resting` last coat on, not dry through ·
`through` dry through · `unsure` the air record allows no verdict · `cleared` for burnout by a person ·
`scrapped`."""


@dataclass(frozen=True)
class Quantiles:
    """A time not known exactly: percentiles 10, 50 and 90 of shop time [ms]; None where it never comes."""

    p10: Millis | None
    p50: Millis | None
    p90: Millis | None


NEVER = Quantiles(None, None, None)


@dataclass(frozen=True)
class SwingAhead:
    """A swing of the wax that is expected tonight: the shop's date of this evening, and what is expected."""

    date: str
    words: str


@dataclass(frozen=True)
class Outlook:
    """The verdict on a tree and what is ahead of it.

    `coat` is the number of the coat that is on (0: none yet) of `of`; `kind` is that coat's kind, or the
    first coat's while none is on. `slowest_spot` is the code of the spot that decides ("joint:30"),
    `slowest_name` the caster's words for it. `remaining` is the fraction of the latest dip's water left
    there (1 just after a dip). `fit_at` is when it was or will be fit to dip (for the last coat: dry
    through). `reason` is one plain sentence. `as_of` is the time up to which the air is known.
    `next_kind` is the kind of the coat that goes on next, None after the last one. `unsure_since` is
    where the trouble in the air record began (None: not unsure, or not known); it must stand still while
    the trouble lasts, because a notice is told once for each such time. `swing_ahead` is there from before
    the shop closes until the night is over.
    """

    tree_id: int
    label: str
    hook: str
    place: str
    coat: int
    of: int
    kind: str
    state: State
    slowest_spot: str | None
    slowest_name: str | None
    remaining: float | None
    fit_at: Quantiles
    reason: str
    as_of: Millis
    dipped_at: Millis | None = None
    next_kind: str | None = None
    unsure_since: Millis | None = None
    swing_ahead: SwingAhead | None = None


class Judge(Protocol):
    """Knows the state of every tree on the rack."""

    def outlooks(self) -> Sequence[Outlook]:
        """The latest verdict on each tree on the rack, in no order."""
        ...


@dataclass(frozen=True)
class Notice:
    """Something a person should be told. `key` names its cause: one key is told once, whatever restarts.

    `title` and `body` are what the phone shows; `at` is the shop time of the cause [ms]. `subject` is what it
    is about ("Heron") and `brief` the same in a few words, for a message that tells of several at once.
    """

    key: str
    cause: str
    tree_id: int | None
    title: str
    body: str
    at: Millis
    subject: str = ""
    brief: str = ""
